"""The generator of random schemes judged: all of them can be read, and among them is everything a scheme can say."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from itertools import product

import pytest

from interlock.scheme.model import Limit, Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import (
    BUILT_IN_GROUPS,
    Combine,
    Compare,
    Contact,
    DeviceInput,
    EnergisedWhen,
    LineForm,
    Mode,
    Must,
    OnInvalid,
    Part,
    PowerUp,
    Reset,
    Signal,
)
from tests.support.random_schemes import (
    BROAD,
    INTERLOCKS,
    LONG,
    SMALL,
    TINY,
    Profile,
    random_fault_set,
    random_scheme_text,
)


@pytest.mark.parametrize("profile", [TINY, SMALL, INTERLOCKS, BROAD, LONG], ids=lambda p: str(p.name))
def test_every_random_scheme_can_be_read(profile: Profile) -> None:
    rng = random.Random(f"read {profile.name}")
    for _ in range(60):
        assert loads(random_scheme_text(rng, profile), "random").claims


def test_the_same_seed_writes_the_same_scheme() -> None:
    one, other = (random_scheme_text(random.Random(11), BROAD) for _ in range(2))
    assert one == other != random_scheme_text(random.Random(12), BROAD)


def test_random_schemes_say_everything_that_a_scheme_can_say() -> None:
    rng = random.Random("everything")
    seen: Counter[str] = Counter()
    for _ in range(400):
        seen.update(set(said(loads(random_scheme_text(rng, BROAD), "random"))))
    print(dict(sorted(seen.items())))
    assert [what for what in EVERYTHING if not seen[what]] == []


def test_random_fault_sets_hold_every_mode_and_no_two_swaps_of_one_part() -> None:
    rng = random.Random("faults")
    modes: set[tuple[Part, Mode]] = set()
    for _ in range(150):
        scheme = loads(random_scheme_text(rng, BROAD), "random")
        for size in (1, 2, 3):
            singles = [f for fault in random_fault_set(rng, scheme, size) for f in fault.single()]
            modes.update((f.part, f.mode) for f in singles)
            swapped = [(f.part, part) for f in singles if f.mode is Mode.SWAPPED for part in f.parts]
            assert len(swapped) == len(set(swapped))
    assert {mode for _, mode in modes} == set(Mode)
    assert {(part, Mode.SWAPPED) for part in (Part.SENSOR, Part.LINE, Part.OUTPUT)} <= modes
    assert {(Part.SENSOR, Mode.SHORTED), (Part.LINE, Mode.SHORTED)} <= modes


EVERYTHING = [
    *(f"output {c} {r} {e}" for c, r, e in product(Contact, DeviceInput, EnergisedWhen)),
    *("stops_within", "starts_within", "output of two paths", "path of two outputs", "path of two units"),
    *(f"rule watches {s}" for s in Signal if s is not Signal.QUANTITY),
    *(f"trips {c}" for c in Compare),
    *(f"on_invalid {w} on a {s}" for w, s in product(OnInvalid, (Signal.SENSOR, Signal.READING))),
    *(f"power_up {w}" for w in PowerUp),
    *(f"reset {w}" for w in Reset),
    *("reset by external", "reset by low_when", "reset by high_when", "reset by confirms", "reset by nobody"),
    *(f"only_while {s}" for s in (Signal.LINE, Signal.PATH, Signal.RULE)),
    *("override with a limit", "override without a limit"),
    *("blocks a path", "blocks a group", "blocks a mode", "starts", "starts and blocks", "alarm"),
    *(f"blocks {g}" for g in BUILT_IN_GROUPS),
    *(f"line {f} undriven {u}" for f, u in product(LineForm, (True, False))),
    *("line of two rules", "line read by another unit", "trip delay", "no trip delay", "clear delay", "no clear delay"),
    *(f"reading {c}" for c in Combine),
    *("reading needs fewer", "reading needs all", "reading of three"),
    *("tie at_least", "tie at_most", "tie with a difference", "sensor of two quantities", "exact sensor"),
    *("valid narrower than readings", "drifts", "misplaced", "open_reads", "shorted_reads", "stale_after"),
    *("flow charge", "flow discharge", "flow both", "flow none", "flow by mode", "behind", "unswitched"),
    *("three units", "group of paths", "two kinds"),
    *(f"{m} {w}" for m, w in product(Must, ("quantity", "line external", "line sent", "path", "nothing", "modes"))),
    *("two limits on one quantity", "attended no", "excluded", "common cause", "a fault like another"),
]


def said(scheme: Scheme) -> Iterator[str]:
    """What a scheme says, in the words of EVERYTHING."""
    yield from _of_truth(scheme)
    yield from _of_power(scheme)
    yield from _of_rules(scheme)
    yield from _of_claims(scheme)
    for line in scheme.lines.values():
        yield f"line {line.form} undriven {line.undriven_reads}"
        if len(line.rules) > 1:
            yield "line of two rules"
        if line.form.sent and any(line.name in scheme.reads(u) for u in scheme.units if u != line.unit):
            yield "line read by another unit"
    if len(scheme.units) == 3:
        yield "three units"
    if set(scheme.groups) - set(BUILT_IN_GROUPS):
        yield "group of paths"
    if len({q.kind for q in scheme.quantities.values()}) > 1:
        yield "two kinds"
    if scheme.excluded:
        yield "excluded"
    for fault in scheme.faults.values():
        if fault.together:
            yield "common cause"
        if fault.name.endswith(".soaked"):
            yield "a fault like another"


def _of_truth(scheme: Scheme) -> Iterator[str]:
    for quantity in scheme.quantities.values():
        for word, tie in (("at_least", quantity.at_least), ("at_most", quantity.at_most)):
            if tie:
                yield f"tie {word}"
                if tie.difference:
                    yield "tie with a difference"
    for sensor in scheme.sensors.values():
        if len(sensor.measures) == 2:
            yield "sensor of two quantities"
        for error in sensor.measures:
            span = scheme.quantities[error.quantity].span
            if error.interval.low == error.interval.high == 0:
                yield "exact sensor"
            if sensor.valid.high < span.high + error.interval.high or sensor.valid.low > span.low + error.interval.low:
                yield "valid narrower than readings"
        for word in ("drifts", "misplaced", "stale_after"):
            if getattr(sensor, word):
                yield word
        for word in ("open_reads", "shorted_reads"):
            if getattr(sensor, word) is not None:
                yield word
    for reading in scheme.readings.values():
        yield f"reading {reading.combine}"
        yield "reading needs fewer" if reading.needs < len(reading.sensors) else "reading needs all"
        if len(reading.sensors) == 3:
            yield "reading of three"


def _of_power(scheme: Scheme) -> Iterator[str]:
    for output in scheme.outputs.values():
        yield f"output {output.contact} {output.runs_when} {output.energised_when}"
        if len(output.drives) > 1:
            yield "output of two paths"
        if output.stops_within.scans:
            yield "stops_within"
        if output.starts_within.scans:
            yield "starts_within"
    for path in scheme.paths.values():
        if len(path.outputs) > 1:
            yield "path of two outputs"
        if len({scheme.outputs[o].unit for o in path.outputs}) > 1:
            yield "path of two units"
        if path.behind:
            yield "behind"
        if path.unswitched:
            yield "unswitched"
        ways = (path.flow.charge is not None, path.flow.discharge is not None)
        words = {(True, True): "both", (True, False): "charge", (False, True): "discharge", (False, False): "none"}
        yield "flow by mode" if path.flow.modal else f"flow {words[ways]}"


def _of_rules(scheme: Scheme) -> Iterator[str]:
    for rule in scheme.rules.values():
        yield f"rule watches {rule.watches}"
        if isinstance(rule.trips.test, Limit):
            yield f"trips {rule.trips.test.compare}"
            yield f"on_invalid {rule.on_invalid} on a {rule.watches}"
        yield f"power_up {rule.power_up}"
        yield f"reset {rule.reset}"
        if rule.manual:
            yield f"reset by {scheme.lines[rule.reset_by].form}" if rule.reset_by else "reset by nobody"
        for condition in rule.only_while:
            yield f"only_while {condition.signal}"
        if rule.overridden_by:
            yield "override with a limit" if rule.override_at_most else "override without a limit"
        for target in rule.blocks:
            yield f"blocks {target.group}" if target.group in BUILT_IN_GROUPS else "blocks a group"
            if not target.group:
                yield "blocks a path"
            if target.when:
                yield "blocks a mode"
        if rule.starts:
            yield "starts and blocks" if rule.blocks else "starts"
        if rule.alarm:
            yield "alarm"
        yield "trip delay" if rule.trips.delay.scans else "no trip delay"
        yield "clear delay" if rule.clears.delay.scans else "no clear delay"


def _of_claims(scheme: Scheme) -> Iterator[str]:
    for claim in scheme.claims:
        if not claim.conditions:
            yield f"{claim.must} nothing"
        if claim.any_of:
            yield f"{claim.must} modes"
        for condition in claim.conditions:
            what = str(condition.signal)
            if condition.signal is Signal.LINE:
                what += " external" if condition.name in claim.external else " sent"
            yield f"{claim.must} {what}"
        limits = [c.name for c in claim.conditions if c.signal is Signal.QUANTITY]
        if len(limits) > len(set(limits)):
            yield "two limits on one quantity"
        if not claim.attended:
            yield "attended no"
