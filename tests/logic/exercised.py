"""What a comparison of engines really exercised: each construct and fault mode, counted by scans in which it acted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from interlock.logic.machine import TABLE
from interlock.logic.scan import Seen, World
from interlock.scheme.model import Fault, Limit, Rule, Scheme
from interlock.scheme.words import (
    MODES,
    Combine,
    Compare,
    Contact,
    DeviceInput,
    EnergisedWhen,
    LineForm,
    Mode,
    OnInvalid,
    Part,
    PowerUp,
    Signal,
    State,
)

_SEEN = tuple(signal for signal in Signal if signal is not Signal.QUANTITY)  # no unit sees the truth
_CONDITIONS = (Signal.LINE, Signal.PATH, Signal.RULE)

# Everything that must have acted at least a few times before an agreement says anything.
WANTED: tuple[str, ...] = (
    *(f"{part} {mode}" for part, modes in MODES.items() for mode in modes),
    *(f"{part} {Mode.SWAPPED}" for part in (Part.SENSOR, Part.LINE, Part.OUTPUT)),
    "common cause",
    "unit mended",
    *dict.fromkeys(f"{row.source} to {row.target or row.source}" for row in TABLE),
    *(f"watches {signal}" for signal in _SEEN),
    *(f"trips {word}" for word in Compare),
    *(f"{word} of all its sensors" for word in Combine),
    *(f"{word} of some of its sensors" for word in Combine),
    *(f"invalid counts as {word}" for word in OnInvalid),
    *(f"powers up {word}" for word in PowerUp),
    "reset by hand",
    "reset assumed",
    "overridden",
    "override without limit",
    "override run out",
    *(f"only while a {signal}" for signal in _CONDITIONS),
    "blocks",
    "blocks in a mode",
    "starts",
    "alarm",
    *(f"line {form}" for form in LineForm),
    "undriven line reads on",
    *(f"contact {contact} {word}" for contact in Contact for word in EnergisedWhen),
    *(f"device runs when {word}" for word in DeviceInput),
    "may run or be stopped",
    "behind",
    "two outputs on a path",
    "two paths on an output",
    "outputs of two units on a path",
    "unswitched",
)
FEWEST = 5


def count_exercised(
    counts: Counter[str],
    scheme: Scheme,
    installed: Sequence[Fault],
    causes: Sequence[frozenset[Fault]],
    attended: bool,
    worlds: Sequence[World],
    seens: Sequence[Seen],
) -> None:
    """Count one run. `causes`: what each common cause brings at one and the same scan."""
    for word in _constructs(scheme):
        counts[word] += len(worlds)
    before: Seen | None = None
    here: frozenset[Fault] = frozenset()
    for world, seen in zip(worlds, seens, strict=True):
        counts.update(_faults((*installed, *world.faults)))
        counts["common cause"] += sum(cause <= world.faults for cause in causes)
        counts["unit mended"] += any(f.mode is Mode.DEAD for f in here - world.faults)
        for unit in world.cycles:
            counts[f"{Part.UNIT} {Mode.POWER_CYCLED}"] += 1
            counts.update(f"powers up {rule.power_up}" for rule in scheme.rules.values() if rule.unit == unit)
        counts.update(_readings(scheme, seen))
        counts.update(_effects(scheme, seen))
        if before is not None:
            counts.update(_moves(scheme, attended, before, seen))
        before, here = seen, world.faults


def _constructs(scheme: Scheme) -> Iterator[str]:
    for rule in scheme.rules.values():
        yield f"watches {rule.watches}"
        if isinstance(rule.trips.test, Limit):
            yield f"trips {rule.trips.test.compare}"
    for line in scheme.lines.values():
        yield f"line {line.form}"
        if line.undriven_reads:
            yield "undriven line reads on"
    for output in scheme.outputs.values():
        yield f"contact {output.contact} {output.energised_when}"
        yield f"device runs when {output.runs_when}"
        if len(output.drives) > 1:
            yield "two paths on an output"
    for path in scheme.paths.values():
        if path.behind:
            yield "behind"
        if path.unswitched:
            yield "unswitched"
        if len(path.outputs) > 1:
            yield "two outputs on a path"
        if len({scheme.outputs[o].unit for o in path.outputs}) > 1:
            yield "outputs of two units on a path"


def _faults(present: Sequence[Fault]) -> Iterator[str]:
    for fault in present:
        yield f"{fault.part} {fault.mode}"


def _readings(scheme: Scheme, seen: Seen) -> Iterator[str]:
    for name, reading in scheme.readings.items():
        if seen.readings[name] is not None:
            whole = all(seen.readings[sensor] is not None for sensor in reading.sensors)
            yield f"{reading.combine} of {'all' if whole else 'some'} of its sensors".replace("all of", "all")
    for rule in scheme.rules.values():
        if rule.watches in (Signal.SENSOR, Signal.READING) and seen.readings[rule.watched] is None:
            yield f"invalid counts as {rule.on_invalid}"


def _effects(scheme: Scheme, seen: Seen) -> Iterator[str]:
    for name, rule in scheme.rules.items():
        if name in seen.in_force:
            if rule.blocks:
                yield "blocks"
            if any(target.when for target in rule.blocks):
                yield "blocks in a mode"
            if rule.starts:
                yield "starts"
        elif name in seen.states and seen.states[name][0].active:
            yield from _held_back(rule)
        if name in seen.alarms:
            yield "alarm"
    for path in scheme.paths:
        if seen.running(path) is None:
            yield "may run or be stopped"


def _held_back(rule: Rule) -> Iterator[str]:
    if rule.overridden_by and not rule.only_while:
        yield "overridden" if rule.override_at_most else "override without limit"
    if not rule.overridden_by:
        for condition in rule.only_while:
            yield f"only while a {condition.signal}"


def _moves(scheme: Scheme, attended: bool, before: Seen, seen: Seen) -> Iterator[str]:
    for name, (state, _) in seen.states.items():
        if name not in before.states:
            continue
        was = before.states[name][0]
        yield f"{was} to {state}"
        if (was, state) == (State.AWAITING_RESET, State.CLEAR):
            yield "reset assumed" if attended else "reset by hand"
        rule = scheme.rules[name]
        overridden = rule.override_at_most and not rule.only_while and was.active and name not in before.in_force
        if overridden and state.active and name in seen.in_force and _truly_on(scheme, rule, seen):
            yield "override run out"


def _truly_on(scheme: Scheme, rule: Rule, seen: Seen) -> bool:
    """The override's line is still on, so that only its time can have ended it."""
    return scheme.lines[rule.overridden_by].form is LineForm.EXTERNAL and seen.lines[rule.overridden_by]
