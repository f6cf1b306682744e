"""One unit of a scheme by itself, as the readable engine runs it: what arrives from elsewhere is an external line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interlock.logic.program import Observe
from interlock.logic.scan import Engine, World
from interlock.logic.stretch import stretches
from interlock.records import replace
from interlock.scheme.model import Line, Scheme
from interlock.scheme.words import LineForm
from interlock.vectors.record import Run, Start, Vector


@dataclass(frozen=True, slots=True)
class Stretch:
    """`scans` scans of the same inputs: readings in millionths (None: lost), lines on or off."""

    readings: dict[str, int | None]
    lines: dict[str, bool]
    scans: int
    start: Start | None = None  # before the first of them
    aims: tuple[str, ...] = ()


def alone(scheme: Scheme, unit: str) -> Scheme:
    """The scheme without other units' rules and outputs; lines from elsewhere are external."""
    outputs = {name: output for name, output in scheme.outputs.items() if output.unit == unit}
    lines = {
        name: line if line.form.sent and line.unit == unit else Line(name, LineForm.EXTERNAL, place=line.place)
        for name, line in scheme.lines.items()
    }
    paths = {
        name: replace(path, outputs=tuple(o for o in path.outputs if o in outputs), behind="")
        for name, path in scheme.paths.items()
    }
    rules = {name: rule for name, rule in scheme.rules.items() if rule.unit == unit}
    return replace(
        scheme,
        units=(unit,),
        lines=lines,
        paths=paths,
        outputs=outputs,
        rules=rules,
        order=tuple(name for name in scheme.order if name in rules),
        claims=(),
        cases=(),
        faults={},
    )


def expected(scheme: Scheme, unit: str, told: Sequence[tuple[Observe, str]], given: Sequence[Stretch]) -> Run:
    """What the readable engine answers to these inputs, from a first power-up on."""
    by_itself = alone(scheme, unit)
    engine = Engine(by_itself)
    names = {kind: [name for k, name in told if k is kind] for kind in (Observe.ENERGISED, Observe.LINE, Observe.ALARM)}
    lost = {name: sensor.valid.low - 1 for name, sensor in scheme.sensors.items()}
    vectors: list[Vector] = []
    for stretch in given:
        readings = {n: lost[n] if stretch.readings.get(n) is None else stretch.readings[n] for n in scheme.sensors}
        world = World({n: v for n, v in readings.items() if v is not None}, stretch.lines)
        start, aims, left = stretch.start, stretch.aims, stretch.scans
        while left:
            if start is Start.POWER_CYCLE:
                parts = iter([(engine.scan(replace(world, cycles=frozenset({unit}))), 1)])
            else:
                parts = iter(stretches(engine, world, left))
            for seen, scans in parts:
                vector = Vector(
                    stretch.readings,
                    stretch.lines,
                    {n: engine.energised[n] for n in names[Observe.ENERGISED]},
                    {n: seen.lines[n] for n in names[Observe.LINE]},
                    {n: n in seen.alarms for n in names[Observe.ALARM]},
                )
                vectors.append(replace(vector, start=start, aims=aims) if start or aims else vector)
                vectors += [vector] * (scans - 1)
                left -= scans
                start, aims = None, ()
    return Run(tuple(vectors))
