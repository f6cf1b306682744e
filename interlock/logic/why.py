"""Why a rule is in its state and a path runs or not, as data: what a failing case, a trace and a bench show."""

from __future__ import annotations

from collections.abc import Mapping

from msgspec import Struct

from interlock.logic.readings import Value
from interlock.logic.scan import Engine, Seen
from interlock.scheme.model import Output, Rule
from interlock.scheme.units import Kind, time_text, value_text
from interlock.scheme.words import Combine, EnergisedWhen, Mode, Signal, State

# The words of reasons; other languages have the same keys and fields.
WORDS: Mapping[str, str] = {
    "left_out": "{rule} is left out",
    "rule": "{rule} is {state}{running_of}{idle}: {sees}",
    "running_of": "({done} of {delay})",
    "idle": ", not in force",
    "reads": "{name} reads {value}",
    "to_run": "{name} was commanded to run",
    "to_stop": "{name} was commanded to stop",
    "rule_active": "{name} is active",
    "rule_clear": "{name} is clear",
    "on": "on",
    "off": "off",
    "invalid": "invalid",
    "open": "open",
    "closed": "closed",
    "and": "and",
    "output": "{output} is {state}: {cause}; it is {coil}, its contact is {contact}",
    "blocks": "{rule} blocks {path}",
    "no_starter": "no rule starts {path}",
    "unwanted": "it is not wanted",
    "unit_dead": "{unit} is dead",
    "unit_frozen": "{unit} is frozen",
    "nothing_blocks": "nothing blocks it",
    "energised": "energised",
    "released": "released",
    "round": "current finds a way round everything that could stop {path}",
    "behind": "it stands behind {behind}, which {state}",
    "behind_running": "runs",
    "behind_stopped": "is stopped",
    "behind_either": "may run or be stopped",
    "unswitched": "nothing switches it: {reason}",
    **{f"state_{state}": str(state) for state in State},
}


class RuleView(Struct, frozen=True):
    """One rule: its state, how long its delay has run of how long (microseconds), what it sees, in force or not.

    `state` is None where a fault leaves the rule out.
    """

    rule: str
    state: State | None
    timer_us: int
    delay_us: int
    sees: str
    in_force: bool

    def sentence(self, words: Mapping[str, str] = WORDS) -> str:
        """`cold_stop is tripped (1.2 s of 60 s): probe reads -4 degC`."""
        if self.state is None:
            return words["left_out"].format(rule=self.rule)
        running = words["running_of"].format(done=time_text(self.timer_us), delay=time_text(self.delay_us))
        return words["rule"].format(
            rule=self.rule,
            state=words[f"state_{self.state}"],
            running_of=f" {running}" if self.delay_us else "",
            idle="" if self.in_force or not self.state.active else words["idle"],
            sees=self.sees,
        )


def rule_view(engine: Engine, seen: Seen, name: str, words: Mapping[str, str] = WORDS) -> RuleView:
    """One rule after a scan."""
    rule, scan_us = engine.scheme.rules[name], engine.scheme.scan_us
    state, timer = seen.states.get(name, (None, 0))
    delay = (
        {State.PICKING_UP: rule.trips.delay.us, State.DROPPING_OFF: rule.clears.delay.us}.get(state, 0) if state else 0
    )
    sees = what_it_sees(engine, rule, words)
    return RuleView(name, state, timer * scan_us, delay, sees, name in seen.in_force)


def what_it_sees(engine: Engine, rule: Rule, words: Mapping[str, str] = WORDS) -> str:
    """`probe reads -4 degC`, `monitor_charge_ok reads off`, `bench_charger was commanded to stop`."""
    scheme, name = engine.scheme, rule.watched
    value = engine.look(rule.unit, rule.watches, name)
    match rule.watches:
        case Signal.SENSOR:
            kind, difference = scheme.sensors[name].kind, False
        case Signal.READING:
            kind = scheme.readings[name].kind
            difference = scheme.readings[name].combine is Combine.DIFFERENCE_OF
        case Signal.LINE:
            return words["reads"].format(name=name, value=words["on" if value else "off"])
        case Signal.PATH:
            return words["to_run" if value else "to_stop"].format(name=name)
        case Signal.RULE:
            return words["rule_active" if value else "rule_clear"].format(name=name)
        case Signal.QUANTITY:
            raise AssertionError("no unit sees the truth")
    shown = words["invalid"] if value is None else reading_text(value, kind, difference=difference)
    return words["reads"].format(name=name, value=shown)


def reading_text(value: Value, kind: Kind, *, difference: bool = False) -> str:
    """A reading with its unit, or `invalid`."""
    return "invalid" if value is None else value_text(value, kind, difference=difference)


def path_reasons(engine: Engine, seen: Seen, path: str, words: Mapping[str, str] = WORDS) -> tuple[str, ...]:
    """Why a path runs, is stopped, or may be either: one sentence per link that decides it, cause first."""
    scheme, faults = engine.scheme, engine.faults
    reasons: list[str] = []
    if faults.has(Mode.BYPASSED, path):
        return (words["round"].format(path=path),)
    for name in scheme.paths[path].outputs:
        reasons.append(output_reason(engine, seen, scheme.outputs[name], words))
    behind = scheme.paths[path].behind
    if behind:
        word = {True: "behind_running", False: "behind_stopped", None: "behind_either"}[seen.running(behind)]
        reasons.append(words["behind"].format(behind=behind, state=words[word]))
    if scheme.paths[path].unswitched:
        reasons.append(words["unswitched"].format(reason=scheme.paths[path].unswitched))
    return tuple(reasons)


def output_reason(engine: Engine, seen: Seen, output: Output, words: Mapping[str, str] = WORDS) -> str:
    """`K1 is off: cold_stop blocks bench_charger; its contact is open`."""
    scheme, faults = engine.scheme, engine.faults
    blockers = [
        words["blocks"].format(rule=rule.name, path=target.path)
        for rule in scheme.rules.values()
        if rule.name in seen.in_force and rule.unit == output.unit
        for target in rule.blocks
        if target.path in output.drives and engine.modes_hold(output.unit, target.when)
    ]
    unwanted = [
        words["no_starter"].format(path=path)
        for path in output.drives
        if scheme.paths[path].started_by == output.unit
        and not any(path in scheme.rules[r].starts for r in seen.in_force if scheme.rules[r].unit == output.unit)
    ]
    if faults.has(Mode.DEAD, output.unit):
        cause = words["unit_dead"].format(unit=output.unit)
    elif faults.has(Mode.FROZEN, output.unit):
        cause = words["unit_frozen"].format(unit=output.unit)
    elif seen.on[output.name]:
        cause = words["nothing_blocks"]
    else:
        cause = f" {words['and']} ".join(blockers or unwanted or [words["unwanted"]])
    energised = seen.on[output.name] is (output.energised_when is EnergisedWhen.RUNS)
    return words["output"].format(
        output=output.name,
        state=words["on" if seen.on[output.name] else "off"],
        cause=cause,
        coil=words["energised" if energised else "released"],
        contact=words["closed" if seen.closed[output.name] else "open"],
    )
