"""Two schemes written into one under other names, side by side: nothing is shared but what both are told.

The plainest way to put both before a judge of claims, without any thought of what acts alike.
"""

from __future__ import annotations

from interlock.compare.alike import as_told
from interlock.records import replace
from interlock.scheme.bare import with_parts
from interlock.scheme.model import (
    AnyOf,
    Claim,
    Condition,
    Delay,
    Flow,
    Interval,
    Line,
    Path,
    Quantity,
    Rule,
    Scheme,
    SensorError,
    Target,
)
from interlock.scheme.words import Must, Signal

MARKS = ("", "_x")


def juxtaposed(old: Scheme, new: Scheme) -> Scheme:
    """One scheme with the rules, paths and outputs of both, those of `new` marked, told the same readings and lines.

    Both must have the same sensors and derived readings."""
    assert (old.sensors, old.readings) == (new.sensors, new.readings)
    told = [as_told(old), as_told(new)]
    rules: dict[str, Rule] = {}
    lines: dict[str, Line] = {}
    paths: dict[str, Path] = {}
    outputs = {}
    for side, mark in zip(told, MARKS, strict=True):
        sent = {n for n, line in side.lines.items() if line.form.sent}

        def line_name(name: str, sent: set[str] = sent, mark: str = mark) -> str:
            return name + mark if name in sent else name

        def seen(signal: Signal, name: str, mark: str = mark, sent: set[str] = sent) -> str:
            if signal is Signal.LINE:
                return name + mark if name in sent else name
            return name + mark if signal in (Signal.PATH, Signal.RULE) else name

        def conditions(found: tuple[Condition, ...], seen=seen) -> tuple[Condition, ...]:  # type: ignore[no-untyped-def]
            return tuple(replace(c, name=seen(c.signal, c.name)) for c in found)

        def modes(when: AnyOf, conditions=conditions) -> AnyOf:  # type: ignore[no-untyped-def]
            return tuple(conditions(c) for c in when)

        for rule in side.rules.values():
            rules[rule.name + mark] = replace(
                rule,
                name=rule.name + mark,
                watched=seen(rule.watches, rule.watched),
                reset_by=line_name(rule.reset_by),
                overridden_by=line_name(rule.overridden_by),
                only_while=conditions(rule.only_while),
                blocks=tuple(Target(t.path + mark, modes(t.when)) for t in rule.blocks),
                starts=tuple(p + mark for p in rule.starts),
            )
        for line in side.lines.values():
            name = line_name(line.name)
            lines[name] = replace(line, name=name, rules=tuple(r + mark for r in line.rules))
        for path in side.paths.values():
            paths[path.name + mark] = replace(
                path,
                name=path.name + mark,
                flow=Flow((), ()),
                behind=path.behind + mark if path.behind else "",
                outputs=tuple(o + mark for o in path.outputs),
            )
        for output in side.outputs.values():
            drives = tuple(p + mark for p in output.drives)
            outputs[output.name + mark] = replace(output, name=output.name + mark, drives=drives)
    quantities, sensors = {}, {}
    for sensor in told[0].sensors.values():
        wide = Interval(sensor.valid.low - 1, sensor.valid.high + 1)
        quantities[f"{sensor.name}_reads"] = Quantity(f"{sensor.name}_reads", sensor.kind, wide)
        error = (SensorError(f"{sensor.name}_reads", Interval(0, 0)),)
        sensors[sensor.name] = replace(sensor, measures=error, drifts=(), misplaced=(), stale_after=None)
    return with_parts(
        told[0], quantities=quantities, sensors=sensors, lines=lines, rules=rules, paths=paths, outputs=outputs
    )


def differs(path: str, *, looser: bool) -> Claim:
    """That the path never runs in one of the two while it is stopped in the other."""
    runs, stopped = (path + MARKS[1], path) if looser else (path, path + MARKS[1])
    condition = Condition(Signal.PATH, stopped, False)
    return Claim("differs", runs, Must.NEVER_RUNNING, (condition,), (), Delay(0, 0))
