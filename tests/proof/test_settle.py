"""Rules that a bad run lets only run down, and rules that act only with another: held against the brute force on
interlocks of the kind that needs them, with short delays."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from interlock.proof.components import Abstraction
from interlock.proof.decide import Answer, Decider
from interlock.proof.goal import of_claim
from interlock.proof.index import Index
from interlock.proof.prove import Outcome, prove
from interlock.proof.settle import QUIET, Settler, Settling
from interlock.proof.system import FaultPlan, System
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.read import loads
from tests.conftest import Counted
from tests.support.brute import Options, judge
from tests.support.brute_parts import OutOfReach

# A stop and what opens after it, a duty limit that watches the path's own command, and a service claim.
TEMPLATE = """
scheme: a motor behind a contactor
scan: 1 s
quantities: {{warmth: {{span: 0 to 100 degC}}}}
sensors: {{probe: {{measures: {{warmth: -1 to 1 K}}, valid: -10 to 110 degC}}}}
units: [board, monitor]
lines:
  permit: {{low_when: [hot]}}
  loop: external
  lever: external
  button: external
rules:
  hot: {{unit: monitor, watches: probe, trips: above 60 degC for {d[0]} s, clears: below 50 degC for {d[1]} s{manual}}}
  pack_stop: {{watches: permit, trips: off, clears: on for {d[2]} s, blocks: motor}}
  pack_open: {{watches: permit, trips: off for {d[3]} s, clears: on, blocks: contactor}}
  helm_stop: {{watches: loop, trips: off, clears: on for {d[4]} s, blocks: motor}}
  helm_open: {{watches: helm_stop, trips: active for {d[5]} s, clears: clear, blocks: contactor}}
  call: {{watches: lever, trips: on, clears: off, starts: motor}}
  busy: {{watches: motor, trips: running, clears: stopped for {d[6]} s, alarm: busy}}
  limit: {{watches: busy, trips: active for {d[7]} s, clears: clear for {d[8]} s, blocks: motor}}
paths:
  contactor: {{flow: none}}
  motor: {{flow: discharge, behind: contactor}}
outputs:
  K1: {{drives: [contactor], contact: normally_open, runs_when: closed, starts_within: {d[9]} s}}
  K2: {{drives: [motor], contact: normally_open, runs_when: closed, starts_within: {d[10]} s}}
requirements:
  served: {{never_stopped: motor, longer_than: 1 min, while: {{{conditions}}}}}
"""


# The same with the contactor's own contact told to the board, and a rule that waits for it.
TOLD = TEMPLATE.replace("  loop: external", "  told: {{confirms: K1, undriven_reads: off}}\n  loop: external").replace(
    "  call:", "  first: {{watches: told, trips: off, clears: on for {d[11]} s, blocks: motor}}\n  call:"
)


def random_motor(rng: random.Random, template: str = TEMPLATE) -> Scheme:
    delays = [rng.randint(0, 3) for _ in range(7)] + [rng.randint(2, 4), rng.randint(1, 4), 0, rng.randint(0, 2)]
    delays.append(rng.randint(0, 2))
    delays[6] = max(1, delays[6])
    manual = ", reset: manual, reset_by: button" if rng.random() < 0.5 else ""
    conditions = ["warmth: below 40 degC", "loop: on", "lever: on"]
    if rng.random() < 0.3:
        del conditions[rng.randrange(3)]
    return loads(template.format(d=delays, manual=manual, conditions=", ".join(conditions)))


def used(abstraction: Abstraction) -> Counter[str]:
    """Which kinds of shared knowledge an answer rests on."""
    settled = abstraction.settled
    return Counter(
        {
            "settled": bool(settled),
            "together": any(len(s.rules) > 1 for s in settled),
            "may act again": any(not s.falls for s in settled),
            "for a least time": any(s.least for s in settled),
            "in another's shadow": bool(abstraction.shadows),
        }
    )


@pytest.mark.parametrize(("first", "template"), [(0, TEMPLATE), (200, TEMPLATE), (400, TOLD)])
def test_what_settles_agrees_with_brute_force(
    first: int, template: str, counted: Counted, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: Counter[str] = Counter()
    plain = Decider.answer

    def noted(decider: Decider, enough: int | None = None) -> Answer:
        try:
            return plain(decider, enough)
        finally:
            seen.update(used(decider.abstraction))

    monkeypatch.setattr(Decider, "answer", noted)
    for seed in range(first, first + 24):
        rng = random.Random(seed)
        scheme = random_motor(rng, template)
        claim = scheme.claims[0]
        faults = () if seed % 3 else (rng.choice(sorted(scheme.faults.values(), key=lambda f: f.name)),)
        try:
            expected = judge(scheme, claim, faults, Options(most_states=60_000))
        except OutOfReach:
            continue
        verdict = prove(scheme, claim, faults, trace=False, margins=False)
        assert verdict.outcome is not Outcome.UNDECIDED, seed
        assert str(verdict.outcome) == expected.verdict, (seed, [f.name for f in faults])
        assert verdict.covered or verdict.exposure_us == expected.exposure_us, (seed, [f.name for f in faults])
        seen["motors"] += 1
        seen["exact"] += not verdict.covered
        seen["finite"] += expected.n is not None and expected.n > 1
    counted("motors with a duty limit, the prover and the brute force", seen)
    assert seen["motors"] >= 18
    assert seen["finite"] >= 9
    assert seen["exact"] * 10 >= seen["motors"] * 9


def settler(scheme: Scheme, claim: Claim, faults: tuple[Fault, ...] = ()) -> Settler:
    everything = Abstraction(everything=True)
    return Settler(System(Index(scheme), of_claim(claim), FaultPlan.of(faults), everything), ())


def motor(
    conditions: str = "warmth: below 40 degC, loop: on, lever: on", manual: str = "", template: str = TEMPLATE
) -> Scheme:
    delays = [2, 300, 1, 2, 5, 20, 30, 180, 270, 0, 2, 4]
    return loads(template.format(d=delays, manual=manual, conditions=conditions))


def test_a_rule_whose_sensor_can_no_longer_trip_it_runs_down_in_its_clear_delay() -> None:
    known = settler(motor(), motor().claims[0])
    assert known.settling("hot") == Settling(300, True, frozenset({"hot"}))
    assert known.settling("helm_stop") == Settling(5, True)


def test_what_follows_it_runs_down_after_it_and_may_trip_late_only_with_a_delay_of_its_own() -> None:
    known = settler(motor(), motor().claims[0])
    assert known.settling("pack_stop") == Settling(301, True, frozenset({"hot"}))
    opened = known.settling("pack_open")
    assert opened is not None
    assert (opened.scans, opened.falls) == (300, False)


def test_a_reset_that_is_given_takes_one_scan_more_and_one_that_is_not_has_no_bound() -> None:
    scheme = motor(manual=", reset: manual, reset_by: button")
    found = settler(scheme, scheme.claims[0]).settling("hot")
    assert found is not None
    assert found.scans == 301
    lost = settler(scheme, scheme.claims[0], (scheme.faults["button.broken"],)).settling("hot")
    assert lost is not None
    assert (lost.scans, lost.falls) == (None, True)


def test_a_line_the_claim_does_not_name_settles_nothing() -> None:
    scheme = motor(conditions="warmth: below 40 degC, lever: on")
    assert settler(scheme, scheme.claims[0]).settling("helm_stop") is None


def test_a_condition_too_weak_to_keep_the_rule_from_tripping_settles_nothing() -> None:
    # the probe may read 1 K high: below 59 it cannot read above 60, at 59.5 it can
    tight, loose = motor(conditions="warmth: below 59 degC"), motor(conditions="warmth: below 59.5 degC")
    assert settler(tight, tight.claims[0]).settling("hot") == Settling(None, True, frozenset({"hot"}))
    assert settler(loose, loose.claims[0]).settling("hot") is None


@pytest.mark.parametrize("fault", ["probe.stuck", "monitor.frozen", "monitor.power_cycled"])
def test_a_fault_that_keeps_the_rule_from_running_down_is_heeded(fault: str) -> None:
    scheme = motor()
    assert settler(scheme, scheme.claims[0], (scheme.faults[fault],)).settling("hot") is None


def test_a_line_held_where_the_rule_does_not_trip_takes_nothing_from_how_it_settles() -> None:
    scheme = motor()
    healthy = settler(scheme, scheme.claims[0]).settling("pack_stop")
    assert settler(scheme, scheme.claims[0], (scheme.faults["permit.shorted"],)).settling("pack_stop") == healthy
    assert settler(scheme, scheme.claims[0], (scheme.faults["permit.broken"],)).settling("pack_stop") is None
    assert settler(scheme, scheme.claims[0], (scheme.faults["permit.inverted"],)).settling("pack_stop") is None


def test_a_line_held_there_from_power_up_on_lets_the_rule_run_down_at_once() -> None:
    scheme = motor()
    plan = FaultPlan.of([scheme.faults["permit.shorted"]]).from_power_up()
    known = Settler(System(Index(scheme), of_claim(scheme.claims[0]), plan, Abstraction(everything=True)), ())
    assert known.settling("pack_stop") == Settling(1, True)


def test_what_watches_a_contact_runs_down_a_scan_after_what_opens_it() -> None:
    scheme = motor(template=TOLD)
    opened, first = (settler(scheme, scheme.claims[0]).settling(rule) for rule in ("pack_open", "first"))
    assert opened is not None
    assert opened.scans == 300
    assert first == Settling(300 + 1 + 4, False, frozenset({"hot"}))
    for harmless in ("K1.welded", "K1.wire_broken", "K1.ignored", "told.shorted"):
        assert settler(scheme, scheme.claims[0], (scheme.faults[harmless],)).settling("first") is not None, harmless
    for fault in ("K1.wrong_contact", "told.broken", "told.inverted", "board.frozen", "board.power_cycled"):
        assert settler(scheme, scheme.claims[0], (scheme.faults[fault],)).settling("first") is None, fault


def test_a_contact_that_welds_where_the_rule_trips_settles_nothing() -> None:
    turned = TOLD.replace(
        "{{drives: [contactor], contact: normally_open, runs_when: closed",
        "{{drives: [contactor], contact: normally_closed, runs_when: open",
    ).replace("watches: told, trips: off, clears: on for", "watches: told, trips: on, clears: off for")
    scheme = motor(template=turned)
    assert settler(scheme, scheme.claims[0]).settling("first") == Settling(305, False, frozenset({"hot"}))
    assert settler(scheme, scheme.claims[0], (scheme.faults["K1.welded"],)).settling("first") is None
    assert settler(scheme, scheme.claims[0], (scheme.faults["told.shorted"],)).settling("first") is None


def test_an_omitted_rule_is_quiet() -> None:
    scheme = motor()
    assert settler(scheme, scheme.claims[0], (scheme.faults["hot.omitted"],)).settling("hot") == QUIET


def test_a_rule_that_lets_go_at_once_acts_only_with_what_trips_at_once() -> None:
    known = settler(motor(), motor().claims[0])
    assert known.shadows("helm_open") == ("helm_stop",)
    assert known.shadows("pack_open") == ("pack_stop",)
    assert known.shadows("pack_stop") == ()  # it lets go a second later


def test_a_rule_acts_for_its_clear_delay_and_that_of_what_it_watches_at_least() -> None:
    known = settler(motor(), motor().claims[0])
    assert known.least("hot") == 300
    assert known.least("pack_stop") == 301
    assert known.least("pack_open") == 298  # two seconds of them go by before it trips
    assert known.least("limit") == 270


def test_two_rules_that_act_only_with_each_other_are_no_circle() -> None:
    text = TEMPLATE.replace("clears: on for {d[2]} s, blocks: motor", "clears: on, blocks: motor")
    scheme = loads(text.format(d=[0, 3, 0, 0, 2, 1, 1, 3, 2, 0, 1, 0], manual="", conditions="warmth: below 40 degC"))
    claim = scheme.claims[0]
    expected = judge(scheme, claim, (), Options(most_states=60_000))
    assert prove(scheme, claim, trace=False).exposure_us == expected.exposure_us
