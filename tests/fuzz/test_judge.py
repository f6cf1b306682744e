"""The judge counts by the reference: traces by hand, exposures worked out by hand."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from interlock.fuzz.judge import Judge, Resets, engine_for, resets_of
from interlock.logic.scan import Engine, Seen, World
from interlock.records import replace
from interlock.scheme.model import Claim, Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import State
from tests.support.bench import BENCH, edited

WARM = {"coldest_cell": 20_000_000, "hottest_cell": 20_000_000, "lowest_cell": 3_300_000, "highest_cell": 3_310_000}
READ = {"probe": 20_000_000, "low_tap": 3_300_000, "high_tap": 3_310_000}


def claim_of(scheme: Scheme, name: str) -> Claim:
    return next(claim for claim in scheme.claims if claim.name == name)


def play(judge: Judge, engine: Engine, scans: int, truth: Mapping[str, int], world: World) -> None:
    for _ in range(scans):
        judge.see(truth, engine.scan(world), 1)


def ready(scheme: Scheme, judge: Judge, resets: Resets = Resets.LINE) -> Engine:
    """The bench with everything clear and running: 5 min, a press of the button, a second."""
    engine = engine_for(scheme, frozenset(), resets)
    play(judge, engine, 3001, WARM, World(READ))
    play(judge, engine, 1, WARM, World(READ, {"reset_button": True}))
    play(judge, engine, 10, WARM, World(READ))
    return engine


def test_a_frozen_pack_is_charged_for_2_2_s_at_worst() -> None:
    """2 s trip delay: 20 scans after the one that starts it, one more until the charger has stopped, one for truth that
    turned just after the scan before: 22 scans."""
    scheme = loads(BENCH)
    judge = Judge(scheme, claim_of(scheme, "frozen_charge/bench_charger"))
    engine = ready(scheme, judge)
    assert judge.held is False  # never cold: so far it says nothing
    cold = {**WARM, "coldest_cell": -1, "hottest_cell": 4_000_000}
    play(judge, engine, 50, cold, World({**READ, "probe": 1_999_999}))
    assert judge.longest == 21
    assert judge.exposure_us == 2_200_000
    assert not judge.violated


def test_the_exposure_is_violated_beyond_the_time_allowed_and_not_at_it() -> None:
    """With 2.2 s allowed the same behaviour passes; with 2.1 s it does not."""
    for allowed, violated in (("2200 ms", False), ("2100 ms", True)):
        scheme = loads(edited(("longer_than: 10 s}", f"longer_than: {allowed}}}")))
        judge = Judge(scheme, claim_of(scheme, "frozen_charge/bench_charger"))
        engine = ready(scheme, judge)
        play(judge, engine, 50, {**WARM, "coldest_cell": -1}, World({**READ, "probe": 1_999_999}))
        assert judge.violated is violated


def test_charging_waits_for_300_1_s_from_power_up() -> None:
    """hot_stop drops off from scan 0 on and waits for its reset from scan 3000 on; the person is there at once, so it
    is clear at scan 3001: stopped from scan 0 to 3000, 3001 scans, and none is added."""
    scheme = loads(BENCH)
    claim = claim_of(scheme, "charging_served/bench_charger")
    judge = Judge(scheme, claim)
    assert resets_of(claim) is Resets.AT_ONCE
    engine = engine_for(scheme, frozenset(), Resets.AT_ONCE)
    play(judge, engine, 4000, WARM, World(READ))
    assert judge.exposure_us == 300_100_000


def test_nobody_resets_anything_where_a_claim_is_unattended() -> None:
    """Not even a button that is pressed again and again."""
    scheme = loads(edited(("longer_than: 6 min,", "longer_than: 6 min, attended: no,")))
    claim = claim_of(scheme, "charging_served/bench_charger")
    assert resets_of(claim) is Resets.NEVER
    judge = Judge(scheme, claim)
    engine = engine_for(scheme, frozenset(), Resets.NEVER)
    for scan in range(4000):
        judge.see(WARM, engine.scan(World(READ, {"reset_button": scan % 2 == 0})), 1)
    assert judge.run == 4000
    assert judge.violated


def seen(engine_seen: Seen, run: str, stop: str) -> Seen:
    """A scan in which the charger may run as `run` says and may be stopped as `stop` does."""
    return replace(
        engine_seen,
        may_run={"bench_charger": run == "1", "lamp_circuit": run == "1"},
        may_stop={"bench_charger": stop == "1", "lamp_circuit": stop == "1"},
    )


@pytest.mark.parametrize(
    ("claim", "truth", "may_run", "may_stop", "scans"),
    [
        # never_running on a quantity: the longest row of scans both cold and running, and one
        ("frozen: {never_running: bench_charger, while: {coldest_cell: below 0 degC}, longer_than: 1 s}",
         "01111011", "01101111", "00000000", 2 + 1),
        # never seen together: one scan all the same, for truth turns between two scans
        ("frozen: {never_running: bench_charger, while: {coldest_cell: below 0 degC}, longer_than: 1 s}",
         "0011", "1100", "0000", 0 + 1),
        # the conditions never hold
        ("frozen: {never_running: bench_charger, while: {coldest_cell: below 0 degC}, longer_than: 1 s}",
         "0000", "1111", "0000", None),
        # the path never runs
        ("frozen: {never_running: bench_charger, while: {coldest_cell: below 0 degC}, longer_than: 1 s}",
         "1111", "0000", "1111", None),
        # never_running without a condition, and with one on a path: no scan is added
        ("limit: {never_running: bench_charger, longer_than: 1 s}", "0000", "0111", "1000", 3),
        ("pair: {never_running: bench_charger, while: {lamp_circuit: stopped}, longer_than: 1 s}",
         "000000", "111111", "011001", 2),
        # never_stopped: none is added either, whatever it is on
        ("served: {never_stopped: bench_charger, while: {coldest_cell: below 0 degC}, longer_than: 1 s}",
         "011111", "000000", "111101", 3),
        # on an external line: one is added
        ("line: {never_running: bench_charger, while: {reset_button: off}, longer_than: 1 s}",
         "000000", "011101", "000000", 3 + 1),
        # on a sent line: none
        ("sent: {never_running: bench_charger, while: {monitor_charge_ok: off}, longer_than: 1 s}",
         "000000", "011101", "000000", 3),
    ],
)  # fmt: skip
def test_runs_are_counted_by_hand(claim: str, truth: str, may_run: str, may_stop: str, scans: int | None) -> None:
    """One column is one scan; `truth` 1: the coldest cell is below 0 degC. Lines are off throughout."""
    scheme = loads(BENCH.split("requirements:")[0] + "requirements:\n  " + claim + "\n")
    judge = Judge(scheme, scheme.claims[0])
    base = Engine(scheme).scan(World(READ))
    assert base.lines == {"monitor_charge_ok": False, "monitor_discharge_ok": False, "reset_button": False}
    for cold, run, stop in zip(truth, may_run, may_stop, strict=True):
        judge.see({**WARM, "coldest_cell": -1 if cold == "1" else 0}, seen(base, run, stop), 1)
    assert judge.exposure_us == (None if scans is None else scans * 100_000)


def test_scans_counted_at_once_are_the_same_as_one_by_one() -> None:
    """And the number still missing says exactly when the claim will be violated."""
    scheme = loads(BENCH)
    claim = claim_of(scheme, "overfull_charge/bench_charger")  # 5 s: 50 scans, one of them added
    base = seen(Engine(scheme).scan(World(READ)), "1", "0")
    full = {**WARM, "highest_cell": 3_650_001}
    for scans in range(60):
        at_once, singly = Judge(scheme, claim), Judge(scheme, claim)
        if scans:
            at_once.see(full, base, scans)
        for _ in range(scans):
            assert singly.violated is (singly.missing == 1 and singly.run >= 50)
            singly.see(full, base, 1)
        assert (at_once.run, at_once.violated) == (singly.run, singly.violated) == (scans, scans >= 50)


def test_a_modal_path_is_judged_in_the_mode_the_requirement_adds() -> None:
    """`sources` counts a path with modes only while its charge condition is true."""
    text = edited(
        ("reset_button: external", "reset_button: external\n  shore: external"),
        ("bench_charger: {flow: charge}", "bench_charger: {flow: {charge: {shore: on}, discharge: {shore: off}}}"),
    )
    scheme = loads(text)
    judge = Judge(scheme, claim_of(scheme, "frozen_charge/bench_charger"))
    engine = Engine(scheme)
    cold = {**WARM, "coldest_cell": -1}
    for on, run in ((False, 0), (True, 1), (True, 2), (False, 0)):
        judge.see(cold, seen(engine.scan(World(READ, {"shore": on})), "1", "0"), 1)
        assert judge.run == run


# --- who resets, and when a reset counts

# One column is one scan. The probe reads `h` 60 degC (the rule trips), `m` 50 degC (neither), `c` 20 degC (it clears);
# both without a delay. States: T tripped, W awaiting its reset, C clear.
PROBE = "hhmmcccchcchcmcc"
BUTTON = "0101110111100101"
# An edge counts while the rule waits for it and the clear condition holds, else it is lost; a button held down, also
# from before the rule began to wait, never resets.
BY_LINE = "TTTTWWWCTWWTWTWC"
AT_ONCE = "TTTTWCCCTWCTWTWC"  # the first scan that accepts it is the one after the rule began to wait
NOBODY = "TTTTWWWWTWWTWTWW"


@pytest.mark.parametrize(
    ("resets", "fault", "states"),
    [
        (Resets.LINE, "", BY_LINE),
        (Resets.LINE, "reset_button.broken", NOBODY),
        (Resets.AT_ONCE, "", AT_ONCE),
        (Resets.AT_ONCE, "reset_button.broken", NOBODY),
        (Resets.AT_ONCE, "reset_button.shorted", NOBODY),
        (Resets.NEVER, "", NOBODY),
    ],
    ids=str,
)
def test_a_reset_counts_at_an_edge_while_the_rule_waits_for_it(resets: Resets, fault: str, states: str) -> None:
    scheme = loads(
        edited(
            ("trips: above 55 degC for 2 s", "trips: above 55 degC"),
            ("clears: below 45 degC for 5 min", "clears: below 45 degC"),
        )
    )
    present = frozenset({scheme.faults[fault]} if fault else ())
    engine = engine_for(scheme, frozenset(), resets)
    found = ""
    for probe, button in zip(PROBE, BUTTON, strict=True):
        reads = {**READ, "probe": {"h": 60_000_000, "m": 50_000_000, "c": 20_000_000}[probe]}
        seen = engine.scan(World(reads, {"reset_button": button == "1"}, present))
        found += {State.TRIPPED: "T", State.AWAITING_RESET: "W", State.CLEAR: "C"}[seen.states["hot_stop"][0]]
    assert found == states
