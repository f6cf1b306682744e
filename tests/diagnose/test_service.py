"""Diagnosis in service: no set of faults is ruled out that did show what was seen, and those are that could not."""

from __future__ import annotations

import random
from collections.abc import Sequence
from pathlib import Path

import pytest

from interlock.diagnose.candidates import pairs, ranked, singles
from interlock.diagnose.dependence import Dependence
from interlock.diagnose.following import next_look
from interlock.diagnose.moments import PLAIN_READINGS, Moment, Of, Statement, from_text
from interlock.diagnose.service import Service, truths
from interlock.logic.faultset import FaultSet
from interlock.logic.scan import Engine, Seen, World
from interlock.plan.sights import Sight, SightKind, seen
from interlock.records import replace
from interlock.scheme.findings import SchemeError
from interlock.scheme.model import Fault, Interval, Scheme, SensorError
from interlock.scheme.read import load, loads
from interlock.scheme.truth import ZERO
from interlock.scheme.words import LineForm, Mode
from tests.conftest import Counted
from tests.support.bench import BENCH
from tests.support.random_schemes import random_scheme_text
from tests.support.random_worlds import even_fault_set, random_worlds, split_faults

HUT = load(Path(__file__).parents[2] / "rules" / "alpine_hut.yaml")
BENCH_SCHEME = loads(BENCH)


def explaining(scheme: Scheme, *seen_: str) -> set[str]:
    """The names of all single faults that explain these moments; "" for nothing wrong."""
    sets = singles(list(scheme.faults.values()))
    fits = Service(scheme, sets).explain([from_text(scheme, text) for text in seen_])
    return {wrongs[0].name if wrongs else "" for wrongs, fit in zip(sets, fits.tolist(), strict=True) if fit}


# --- Never ruled out what really was: against the readable engine.


def statements(scheme: Scheme, run: Sequence[Seen], faults: FaultSet) -> list[Statement]:
    """All that held at every scan of a run."""
    found: list[Statement] = []

    def add(of: Of, name: str, values: Sequence[object]) -> None:
        if len(set(values)) == 1 and values[0] is not None:
            found.append(Statement(of, name, bool(values[0]), ""))

    for name in scheme.paths:
        if all(what.may_run[name] for what in run):
            found.append(Statement(Of.PATH, name, True, ""))
        elif all(what.may_stop[name] for what in run):
            found.append(Statement(Of.PATH, name, False, ""))
    for name in scheme.lines:
        add(Of.LINE, name, [what.lines[name] for what in run])
    for name, rule in scheme.rules.items():
        if rule.alarm:
            add(Of.ALARM, name, [name in what.alarms for what in run])
        add(Of.RULE, name, [what.states[name][0].active if name in what.states else None for what in run])
    for name in scheme.outputs:
        add(Of.DEVICE, name, [seen(Sight(SightKind.DEVICE, name), what, faults) for what in run])
    plain = [n for n, r in scheme.readings.items() if r.combine in PLAIN_READINGS]
    for name in (*scheme.sensors, *plain):
        values = [what.readings[name] for what in run]
        add(Of.VALID, name, [value is not None for value in values])
        if len(set(values)) == 1 and isinstance(values[0], int):
            found.append(Statement(Of.READING, name, Interval(values[0], values[0]), ""))
    return found


def quantities(scheme: Scheme, readings: dict[str, int], faults: Sequence[Fault]) -> list[Statement]:
    """What a quantity may have been while one sensor's element gave what it did: of those that nothing else tells of,
    for the elements of a random run need not go together."""
    found = []
    tied = {t.other for q in scheme.quantities.values() for t in (q.at_least, q.at_most) if t}
    tied |= {q.name for q in scheme.quantities.values() if q.at_least or q.at_most}
    measured = [e.quantity for sensor in scheme.sensors.values() for e in sensor.measures]
    for name, sensor in scheme.sensors.items():
        errors = errors_of(scheme, name, faults)
        if len(sensor.measures) == len(errors) == 1:
            error = errors[0]
            value = Interval(readings[name] - error.interval.high, readings[name] - error.interval.low)
            if error.quantity in tied or measured.count(error.quantity) > 1:
                continue
            span = scheme.quantities[error.quantity].span
            if value.high >= span.low and value.low <= span.high:
                found.append(Statement(Of.QUANTITY, error.quantity, value, ""))
    return found


def errors_of(scheme: Scheme, name: str, faults: Sequence[Fault]) -> Sequence[SensorError]:
    """The errors a sensor has with these faults: drifted over misplaced."""
    own = [single for fault in faults for single in fault.single() if name in single.parts and single.error]
    own.sort(key=lambda single: single.mode is not Mode.DRIFTED)
    return own[0].error if own else scheme.sensors[name].measures


def real(scheme: Scheme, world: World, faults: Sequence[Fault]) -> World:
    """The world with each element giving something that some truth would make it give."""
    bounds = truths(scheme, Moment((), 0, ""))
    readings = {}
    for name, value in world.readings.items():
        errors = errors_of(scheme, name, faults)
        low = max(-bounds[ZERO, e.quantity] + e.interval.low for e in errors)
        high = min(bounds[e.quantity, ZERO] + e.interval.high for e in errors)
        readings[name] = min(max(value, low), high)
    return replace(world, readings=readings)


@pytest.mark.parametrize("first", range(0, 120, 10))
def test_what_a_run_did_show_is_always_explained_by_its_own_faults(first: int, counted: Counted) -> None:
    said = 0
    for seed in range(first, first + 10):
        rng = random.Random(seed)
        scheme = loads(random_scheme_text(rng))
        faults = even_fault_set(rng, scheme, rng.randint(0, 2))
        installed, _ = split_faults(faults)
        engine = Engine(scheme, installed)
        lasts = rng.randint(1, 9)
        worlds = [real(scheme, world, faults) for world in random_worlds(rng, scheme, faults, 30)]
        worlds += [worlds[-1]] * lasts  # nothing is moved for as long as the moment lasts
        run = [engine.scan(world) for world in worlds][-lasts:]
        present = FaultSet.of(single for fault in faults for single in fault.single())
        every = statements(scheme, run, present)
        chosen = rng.sample(every, min(len(every), rng.randint(1, 8)))
        external = {n for n, line in scheme.lines.items() if line.form is LineForm.EXTERNAL}
        chosen += [s for s in every if s.name in external and rng.random() < 0.5 and s not in chosen]
        of_truth = quantities(scheme, dict(worlds[-1].readings), faults)
        if of_truth and rng.random() < 0.5:
            chosen.append(rng.choice(of_truth))
        moment = Moment(tuple(chosen), lasts * scheme.scan_us, "")
        try:
            assert Service(scheme, [faults]).explain([moment])[0], (seed, [f.name for f in faults], chosen)
        except SchemeError:  # that truth cannot be beside the others, with or without faults
            continue
        said += len(chosen)
    counted("diagnosis in service beside the readable engine", {"runs": 10, "statements": said})


# --- Ruled out what could not be, by hand from the reference's meanings.


def test_on_the_bench_a_charger_that_runs_in_the_cold_has_six_explanations() -> None:
    """Below 3 degC for 2 s cold_stop blocks bench_charger, unless the board can't know, decide or do."""
    found = explaining(BENCH_SCHEME, "bench_charger running, coldest_cell -4 degC, hottest_cell -4 degC, for 1 min")
    assert "" not in found
    assert {"K1.welded", "K1.wrong_contact", "K1.ignored", "bench_charger.bypassed", "cold_stop.omitted"} <= found
    assert {"probe.stuck", "board.frozen", "K1~K2.swapped"} <= found
    assert not {"K1.wire_broken", "probe.open", "hot_stop.omitted", "board.dead", "K2.welded"} & found


def test_a_drifted_probe_explains_what_its_error_reaches() -> None:
    """By 6 K at most: at 0 degC it may read 6 degC and cold_stop let go above 5 degC, at -4 degC it may not."""
    sets = [(), (BENCH_SCHEME.faults["probe.drifted"],)]
    for text, fits in (("0 degC", [False, True]), ("-4 degC", [False, False])):
        moment = from_text(BENCH_SCHEME, f"bench_charger running, coldest_cell {text}, for 1 min")
        assert Service(BENCH_SCHEME, sets).explain([moment]).tolist() == fits


def test_a_rule_that_is_left_out_is_never_seen_active() -> None:
    sets = [(), (BENCH_SCHEME.faults["cold_stop.omitted"],)]
    moment = from_text(BENCH_SCHEME, "cold_stop active, coldest_cell -4 degC, for 1 min")
    assert Service(BENCH_SCHEME, sets).explain([moment]).tolist() == [True, False]


def test_a_device_fed_by_another_contact_sees_that_one() -> None:
    sets = [(), (BENCH_SCHEME.faults["K1~K2.swapped"],)]
    text = "K1 closed, K2 open, coldest_cell -4 degC, lowest_cell 3.3 V, hot_stop clear, monitor_discharge_ok on"
    assert Service(BENCH_SCHEME, sets).explain([from_text(BENCH_SCHEME, f"{text}, for 2 min")]).tolist() == [
        False,
        True,
    ]


def test_what_depends_on_a_fault_through_the_scan_before_is_known_too() -> None:
    """A welded K3 reads as closed on turbine_closed a scan later, and turbine_on_pack then blocks the dump load."""
    welded = HUT.faults["K3.welded"]
    reached = Dependence(HUT, [welded]).of(welded)
    assert {"turbine_charging", "dump_load"} <= set(reached)
    assert "rescue_radio" not in reached


def test_before_a_delay_has_run_out_nothing_need_be_wrong() -> None:
    assert "" in explaining(BENCH_SCHEME, "bench_charger running, coldest_cell -4 degC, for 1 s")
    assert "" not in explaining(BENCH_SCHEME, "bench_charger running, coldest_cell -4 degC, for 3 s")


def test_a_rule_that_waits_for_a_person_is_a_reason_of_its_own() -> None:
    """hot_stop may be awaiting its reset, whatever the temperature has been for an hour."""
    stopped = "bench_charger stopped, lamp_circuit stopped, coldest_cell 20 degC, lowest_cell 3.3 V, highest_cell 3.3 V"
    assert "" in explaining(BENCH_SCHEME, f"{stopped}, for 1 h")
    assert "" not in explaining(BENCH_SCHEME, f"{stopped}, hot_stop clear, for 1 h")


def test_two_moments_leave_what_explains_both() -> None:
    cold = "bench_charger running, coldest_cell -4 degC, for 1 min"
    empty = "lamp_circuit running, lowest_cell 2 V, for 1 min"
    both = explaining(BENCH_SCHEME, cold, empty)
    assert both == explaining(BENCH_SCHEME, cold) & explaining(BENCH_SCHEME, empty)
    # Exchanged, each runs by the other's permit, and each moment leaves the other's open.
    assert both == {"board.frozen", "K1~K2.swapped"}


def test_what_one_path_tells_of_a_rule_holds_for_another() -> None:
    """In the hut nothing but its own outputs stops the sun while the turbine charges: no rule can be the reason."""
    sound = {"charge_permit.broken", "cold_stop.omitted", "K1.wire_broken", "K3.wire_broken", "shunt.open"}
    reasons = {"R2.wire_broken", "K2.wire_broken", "R2.wrong_contact", "K2.wrong_contact"}
    sets = [(), *((HUT.faults[name],) for name in sorted(sound | reasons))]
    text = "roof_pv stopped, turbine_charging running, coldest_cell 20 degC, charge_permit on, for 20 min"
    fits = Service(HUT, sets).explain([from_text(HUT, text)]).tolist()
    assert {wrongs[0].name if wrongs else "" for wrongs, fit in zip(sets, fits, strict=True) if fit} == reasons


def test_pairs_are_weighed_as_singles_are() -> None:
    seen_ = from_text(BENCH_SCHEME, "bench_charger stopped, lamp_circuit running, probe invalid, K2 open, for 1 min")
    wrongs = [BENCH_SCHEME.faults[n] for n in ("K2.welded", "K2.ignored", "probe.open", "K1.welded", "K2.wire_broken")]
    sets = [*singles(wrongs), *pairs(BENCH_SCHEME, wrongs)]
    fits = Service(BENCH_SCHEME, sets).explain([seen_])
    found = [tuple(w.name for w in s) for s, fit in zip(sets, fits.tolist(), strict=True) if fit]
    assert found == [("K2.ignored", "probe.open")]


def test_the_next_look_splits_what_is_left() -> None:
    text = "bench_charger running, coldest_cell -4 degC, for 1 min"
    moment = from_text(BENCH_SCHEME, text)
    names = ("K1.welded", "K1.ignored", "cold_stop.omitted", "probe.stuck")
    candidates = ranked(BENCH_SCHEME, [(BENCH_SCHEME.faults[n],) for n in names])
    found = next_look(BENCH_SCHEME, Service(BENCH_SCHEME, [c.wrongs for c in candidates]), moment, candidates)
    assert found is not None
    # At the device's own input: open for good where the device does not heed it; for the other two it may have opened
    # just now, and the device not have followed yet; never where the contact is welded.
    assert found.look_at == ("K1",)
    assert [(dict(o.seen), o.leaves) for o in found.outcomes] == [
        ({"K1": "closed"}, (0, 2, 3)),
        ({"K1": "open"}, (1, 2, 3)),
    ]


def test_truths_that_cannot_be_together_are_refused() -> None:
    moment = from_text(BENCH_SCHEME, "coldest_cell 20 degC, hottest_cell 10 degC")
    with pytest.raises(SchemeError, match="cannot be so together"):
        Service(BENCH_SCHEME, [()]).explain([moment])
