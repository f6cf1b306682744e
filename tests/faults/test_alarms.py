"""Which faults raise which alarm: by hand on parts of a survey launch, against brute force over all its behaviours, and
on the readable engine."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from interlock.faults.alarms import alarms_raised
from interlock.faults.court import Court
from interlock.faults.effects import Effect, Sign
from interlock.faults.inject import inject
from interlock.faults.judge import BUDGET
from interlock.faults.parallel import Here
from interlock.logic.scan import Engine
from interlock.proof.index import Index
from interlock.records import replace
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.read import loads
from tests.conftest import Counted
from tests.support.brute_alarms import longest
from tests.support.brute_parts import OutOfReach
from tests.support.random_schemes import TINY, random_scheme_text
from tests.support.random_worlds import cycled_units, random_world, split_faults

LAUNCH = """
scheme: Survey launch, its warnings
revision: 1
scan: 1 s
quantities:
  hottest_cell: {span: -30 to 80 degC}
  bay: {span: -30 to 80 degC}
sensors:
  pack_probe: {measures: {hottest_cell: -2 to 2 K}, valid: -35 to 90 degC, stale_after: 3 s}
  bay_probe: {measures: {bay: -2 to 2 K}, valid: -35 to 90 degC, drifts: 60 to 70 K}
units: [board, cell_monitor]
lines:
  monitor_ok: {low_when: [cell_hot]}
  contactor_closed: {confirms: K1}
  reset_button: external
rules:
  cell_hot: {unit: cell_monitor, watches: pack_probe, trips: above 55 degC for 1 s, clears: below 45 degC,
             alarm: the pack is hot}
  pack_hot: {watches: monitor_ok, trips: "off", clears: "on", blocks: all, reset: manual, reset_by: reset_button,
             alarm: look at the pack before you reset it}
  bay_warm: {watches: bay_probe, trips: above 40 degC, clears: below 35 degC, on_invalid: clear, power_up: clear,
             alarm: the engine bay is warm}
  not_opened: {watches: contactor_closed, trips: "on", clears: "off", power_up: clear,
               only_while: {shore_charger: stopped}, alarm: the contactor has not opened}
paths:
  shore_charger: {flow: charge}
outputs:
  K1: {drives: [shore_charger], contact: normally_open, runs_when: closed}
requirements:
  hot_charge: {never_running: shore_charger, while: {hottest_cell: above 60 degC}, longer_than: 5 s}
faults:
  lightning: {together: [K1.welded, board.dead]}
  ageing: {together: [K1.welded, board.frozen]}
  forgotten: {together: [K1.welded, not_opened.omitted]}
"""


@pytest.fixture(scope="module")
def launch() -> Scheme:
    return loads(LAUNCH, "launch.yaml")


@pytest.fixture(scope="module")
def raised(launch: Scheme) -> dict[str, tuple[str, ...]]:
    return alarms_raised(Index(launch))


@pytest.mark.parametrize(
    ("fault", "rules"),
    [
        # an invalid reading counts as a trip, at the monitor and so on the board
        ("pack_probe.open", ["cell_hot", "pack_hot"]),
        # invalid once it is stale, three scans after it stuck
        ("pack_probe.stuck", ["cell_hot", "pack_hot"]),
        # the board hears of no monitor; a dead unit itself raises no alarm
        ("cell_monitor.dead", ["pack_hot"]),
        ("monitor_ok.broken", ["pack_hot"]),
        # what it sent last stays on its line
        ("cell_monitor.frozen", []),
        ("board.frozen", []),
        # here an invalid reading counts as clear
        ("bay_probe.open", []),
        # read 30 degC or more whatever the temperature, so it can be silent for ever
        ("bay_probe.drifted", []),
        # it is clear for ever if it was reset before; at power-up it would wait for the button
        ("reset_button.broken", []),
        # never in force but for these: closed although it should be open, or said to be
        ("K1.welded", ["not_opened"]),
        ("K1.wrong_contact", ["not_opened"]),
        ("contactor_closed.shorted", ["not_opened"]),
        ("contactor_closed.broken", []),
        # what would sound is dead, frozen, or was never there
        ("lightning", []),
        ("ageing", []),
        ("forgotten", []),
        ("K1.ignored", []),
        ("not_opened.omitted", []),
    ],
)
def test_a_fault_raises_the_alarms_found_by_hand(
    launch: Scheme, raised: dict[str, tuple[str, ...]], fault: str, rules: list[str]
) -> None:
    assert fault in launch.faults
    assert list(raised.get(fault, ())) == rules


class ByBruteForce:
    """The definition once more, asked of the brute-force explorer."""

    def __init__(self, scheme: Scheme) -> None:
        self.scheme = scheme
        self.never = {rule: longest(scheme, rule, True) == 0 for rule in scheme.rules}
        self.can_be_silent = {rule: longest(scheme, rule, False) is None for rule in scheme.rules}

    def raises(self, fault: Fault, rule: str) -> bool:
        if self.never[rule]:
            return longest(self.scheme, rule, True, [fault]) != 0
        return self.can_be_silent[rule] and longest(self.scheme, rule, False, [fault]) is not None


def test_all_of_it_agrees_with_brute_force(launch: Scheme, raised: dict[str, tuple[str, ...]]) -> None:
    brute = ByBruteForce(launch)
    for name, fault in launch.faults.items():
        for rule in launch.rules:
            assert (rule in raised.get(name, ())) is brute.raises(fault, rule), (name, rule)
    assert sum(brute.never.values()) == 1
    assert sum(map(len, raised.values())) > 10


def test_no_alarm_of_a_random_scheme_is_raised_that_brute_force_does_not_find(counted: Counted) -> None:
    """And nearly all that it finds are raised: what is not decided counts as not raised."""
    counts: Counter[str] = Counter()
    for seed in range(16):
        rng = random.Random(seed)
        written = loads(random_scheme_text(rng, TINY), "random.yaml")
        scheme = replace(written, rules={n: replace(r, alarm="look") for n, r in written.rules.items()})
        raised = alarms_raised(Index(scheme))
        brute = ByBruteForce(scheme)
        for name in dict.fromkeys([*list(raised)[:3], *rng.sample(list(scheme.faults), min(3, len(scheme.faults)))]):
            for rule in scheme.rules:
                try:
                    expected = brute.raises(scheme.faults[name], rule)
                except (LoopError, OutOfReach):
                    continue
                found = rule in raised.get(name, ())
                assert expected or not found, (seed, name, rule)
                counts["not raised" if not expected else "raised, found" if found else "raised, not found"] += 1
    counted("alarms of random schemes", counts)
    assert counts["raised, found"] > 20
    assert counts["raised, not found"] * 20 < counts["raised, found"]


def behaviours(scheme: Scheme, fault: Fault | None, seed: int, scans: int, onset: int) -> list[tuple[str, ...]]:
    """The alarms at each scan of a random run on the readable engine, from the scan at which the fault arises on."""
    rng = random.Random(seed)
    installed, arising = split_faults([fault] if fault else [])
    engine, world, heard = Engine(scheme, installed), None, []
    for scan in range(scans):
        there = frozenset(f for group in arising for f in group) if scan >= onset else frozenset()
        world = random_world(rng, scheme, there, world, cycles=cycled_units([fault] if fault else []))
        heard.append(engine.scan(world).alarms)
    return heard[onset:]


@pytest.mark.parametrize(
    ("fault", "rule", "silent"),
    [
        ("pack_probe.open", "cell_hot", 1),  # its trip delay of one scan
        ("pack_probe.open", "pack_hot", 1),
        ("pack_probe.stuck", "cell_hot", 4),  # and three until the reading is stale
        ("monitor_ok.broken", "pack_hot", 0),
    ],
)
def test_on_the_readable_engine_the_alarm_sounds_at_last_and_goes_on(
    launch: Scheme, fault: str, rule: str, silent: int
) -> None:
    longest_silence = 0
    for seed in range(60):
        heard = behaviours(launch, launch.faults[fault], seed, 60, onset=seed % 20)
        quiet = [rule not in alarms for alarms in heard]
        longest_silence = max(longest_silence, sum(quiet))
        assert not any(quiet[silent:])
    assert longest_silence == silent


def test_on_the_readable_engine_a_monitor_of_what_never_happens_sounds_with_its_faults_alone(launch: Scheme) -> None:
    def sounds(fault: Fault | None) -> bool:
        return any(
            "not_opened" in heard for seed in range(40) for heard in behaviours(launch, fault, seed, 60, onset=3)
        )

    assert not sounds(None)
    assert sounds(launch.faults["K1.welded"])
    assert sounds(launch.faults["contactor_closed.shorted"])
    assert not sounds(launch.faults["contactor_closed.broken"])


def test_a_frozen_or_dead_unit_is_silent_on_the_readable_engine(launch: Scheme) -> None:
    for fault in ("cell_monitor.frozen", "cell_monitor.dead"):
        for seed in range(20):
            assert not any("cell_hot" in heard for heard in behaviours(launch, launch.faults[fault], seed, 40, onset=2))


def test_a_study_tells_the_alarm_beside_the_sensor(launch: Scheme) -> None:
    found = {e.fault: e for e in inject(launch, 1, Here(Court(launch, BUDGET))).effects}
    lost = found["pack_probe.open"]
    assert lost.effect is Effect.REVEALED
    assert [(r.sign, r.name) for r in lost.revealed_by] == [
        (Sign.SENSOR, "pack_probe"),
        (Sign.ALARM, "cell_hot"),
        (Sign.ALARM, "pack_hot"),
    ]
    assert found["monitor_ok.broken"].effect is Effect.REVEALED, "only its alarm shows it"
    assert found["reset_button.broken"].effect is Effect.DORMANT
    welded = found["K1.welded"]
    assert welded.effect is Effect.VIOLATES
    assert [(r.sign, r.name) for r in welded.revealed_by] == [(Sign.ALARM, "not_opened")]
