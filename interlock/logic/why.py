"""Why a rule is in its state and a path runs or not, as data: what a failing case, a trace and a bench show."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.logic.readings import Value
from interlock.logic.scan import Engine, Seen
from interlock.scheme.model import Output, Rule
from interlock.scheme.units import Kind, time_text, value_text
from interlock.scheme.words import TWO_WORDS, Combine, EnergisedWhen, Mode, Signal, State


@dataclass(frozen=True, slots=True)
class RuleView:
    """One rule: its state, how long its delay has run of how long (microseconds), what it sees, in force or not.

    `state` is None where a fault leaves the rule out.
    """

    rule: str
    state: State | None
    timer_us: int
    delay_us: int
    sees: str
    in_force: bool

    def sentence(self) -> str:
        """`cold_stop is tripped (1.2 s of 60 s): probe reads -4 degC`."""
        if self.state is None:
            return f"{self.rule} is left out"
        running = f" ({time_text(self.timer_us)} of {time_text(self.delay_us)})" if self.delay_us else ""
        idle = "" if self.in_force or not self.state.active else ", not in force"
        return f"{self.rule} is {self.state}{running}{idle}: {self.sees}"


def rule_view(engine: Engine, seen: Seen, name: str) -> RuleView:
    """One rule after a scan."""
    rule, scan_us = engine.scheme.rules[name], engine.scheme.scan_us
    state, timer = seen.states.get(name, (None, 0))
    delay = (
        {State.PICKING_UP: rule.trips.delay.us, State.DROPPING_OFF: rule.clears.delay.us}.get(state, 0) if state else 0
    )
    return RuleView(name, state, timer * scan_us, delay, what_it_sees(engine, rule), name in seen.in_force)


def what_it_sees(engine: Engine, rule: Rule) -> str:
    """`probe reads -4 degC`, `monitor_charge_ok reads off`, `bench_charger was commanded to stop`."""
    scheme, name = engine.scheme, rule.watched
    value = engine.look(rule.unit, rule.watches, name)
    match rule.watches:
        case Signal.SENSOR:
            return f"{name} reads {reading_text(value, scheme.sensors[name].kind)}"
        case Signal.READING:
            reading = scheme.readings[name]
            difference = reading.combine is Combine.DIFFERENCE_OF
            return f"{name} reads {reading_text(value, reading.kind, difference=difference)}"
        case Signal.LINE:
            return f"{name} reads {TWO_WORDS[Signal.LINE][not value]}"
        case Signal.PATH:
            return f"{name} was commanded {'to run' if value else 'to stop'}"
        case Signal.RULE:
            return f"{name} is {TWO_WORDS[Signal.RULE][not value]}"
        case Signal.QUANTITY:
            raise AssertionError("no unit sees the truth")


def reading_text(value: Value, kind: Kind, *, difference: bool = False) -> str:
    """A reading with its unit, or `invalid`."""
    return "invalid" if value is None else value_text(value, kind, difference=difference)


def path_reasons(engine: Engine, seen: Seen, path: str) -> tuple[str, ...]:
    """Why a path runs, is stopped, or may be either: one sentence per link that decides it, cause first."""
    scheme, faults = engine.scheme, engine.faults
    reasons: list[str] = []
    if faults.has(Mode.BYPASSED, path):
        return (f"current finds a way round everything that could stop {path}",)
    for name in scheme.paths[path].outputs:
        reasons.append(output_reason(engine, seen, scheme.outputs[name]))
    behind = scheme.paths[path].behind
    if behind:
        running = seen.running(behind)
        word = {True: "runs", False: "is stopped", None: "may run or be stopped"}[running]
        reasons.append(f"it stands behind {behind}, which {word}")
    if scheme.paths[path].unswitched:
        reasons.append(f"nothing switches it: {scheme.paths[path].unswitched}")
    return tuple(reasons)


def output_reason(engine: Engine, seen: Seen, output: Output) -> str:
    """`K1 is off: cold_stop blocks bench_charger; its contact is open`."""
    scheme, faults = engine.scheme, engine.faults
    blockers = [
        f"{rule.name} blocks {target.path}"
        for rule in scheme.rules.values()
        if rule.name in seen.in_force and rule.unit == output.unit
        for target in rule.blocks
        if target.path in output.drives and engine.modes_hold(output.unit, target.when)
    ]
    unwanted = [
        path
        for path in output.drives
        if scheme.paths[path].started_by == output.unit
        and not any(path in scheme.rules[r].starts for r in seen.in_force if scheme.rules[r].unit == output.unit)
    ]
    if faults.has(Mode.DEAD, output.unit):
        cause = f"{output.unit} is dead"
    elif faults.has(Mode.FROZEN, output.unit):
        cause = f"{output.unit} is frozen"
    elif seen.on[output.name]:
        cause = "nothing blocks it"
    else:
        cause = " and ".join(blockers or [f"no rule starts {path}" for path in unwanted] or ["it is not wanted"])
    contact = "closed" if seen.closed[output.name] else "open"
    energised = seen.on[output.name] is (output.energised_when is EnergisedWhen.RUNS)
    return (
        f"{output.name} is {'on' if seen.on[output.name] else 'off'}: {cause}; it is "
        f"{'energised' if energised else 'released'}, its contact is {contact}"
    )
