"""What protects a claim: its twists, and what the brute-force judge of claims says to it on random schemes."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Sequence

from interlock.check.facts import Facts
from interlock.check.guards import Loss
from interlock.check.losses import told_losses
from interlock.check.run import check
from interlock.check.wiring import ahead, runs_as_told
from interlock.records import replace
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import Mode
from tests.check.found import edited, found, mended
from tests.support.brute import BruteVerdict, Options, judge
from tests.support.brute_parts import OutOfReach
from tests.support.profiles import SMALL, TINY
from tests.support.random_schemes import random_scheme_text

PERMIT = mended("broken-wire-runs")
TWO_SOURCES = edited(
    PERMIT,
    ("  roof_pv: {flow: charge}", "  roof_pv: {flow: charge}\n  generator: {flow: charge}"),
    ("runs_when: closed}", "runs_when: closed}\n  K2: {drives: generator, contact: normally_open, runs_when: closed}"),
)


def test_a_path_behind_a_stopped_one_is_stopped_too() -> None:
    text = edited(TWO_SOURCES, ("blocks: sources", "blocks: roof_pv"))
    assert found(text) == [("requirement-unprotected", "overfull_charge/generator")]
    assert found(edited(text, ("generator: {flow: charge}", "generator: {flow: charge, behind: roof_pv}"))) == []


def test_a_path_that_shares_an_output_with_a_stopped_one_is_stopped_too() -> None:
    text = edited(
        TWO_SOURCES,
        ("blocks: sources", "blocks: roof_pv"),
        ("{drives: generator, contact: normally_open, runs_when: closed}",
         "{drives: [generator, roof_pv], contact: normally_open, runs_when: closed}"),
    )  # fmt: skip
    assert found(text) == []


MODES = edited(
    PERMIT,
    ("charge_permit: {low", "shore_live: {external: yes, undriven_reads: on}\n  charge_permit: {low"),
    ("roof_pv: {flow: charge}", "roof_pv: {flow: {charge: {shore_live: on}}}"),
)


def test_a_block_in_one_mode_protects_what_is_asked_in_that_mode() -> None:
    assert found(MODES) == []
    asked_always = edited(MODES, ("{never_running: sources,", "{never_running: roof_pv,"))
    assert found(asked_always) == [("requirement-unprotected", "overfull_charge/roof_pv")]
    both = edited(
        asked_always, ("{charge: {shore_live: on}}", "{charge: {shore_live: on}, discharge: {shore_live: off}}")
    )
    # `all` blocks in either mode, and one of the two is always read.
    assert "requirement-unprotected" not in {i for i, _ in found(edited(both, ("blocks: sources", "blocks: all")))}


def test_a_path_that_is_no_longer_wanted_is_protected() -> None:
    text = """
scheme: A heater
scan: 100 ms
quantities: {cell: {span: -30 to 80 degC}}
sensors: {probe: {measures: {cell: -1 to 1 K}, valid: -40 to 90 degC}}
lines: {bus_live: external}
rules:
  heat_wanted: {watches: probe, trips: below 5 degC, clears: above 9 degC, starts: heater, only_while: {bus_live: on}}
paths: {heater: {flow: none}}
outputs: {K1: {drives: heater, contact: normally_open, runs_when: closed}}
requirements:
  bus_dead: {never_running: heater, while: {bus_live: off}, longer_than: 1 s}
  warm:     {never_running: heater, while: {cell: above 10 degC}, longer_than: 1 s}
"""
    assert found(text) == []
    assert found(edited(text, ("cell: above 10 degC", "cell: above 9.5 degC"))) == [("error-over-limit", "heat_wanted")]
    by_hand = edited(text, (", only_while: {bus_live: on}", ""))
    assert found(by_hand) == [("requirement-unprotected", "bus_dead/heater")]


def test_a_rule_that_ends_every_run_in_time_protects_whatever_else_is_so() -> None:
    text = edited(
        PERMIT,
        ("blocks: sources", "alarm: full"),
        (
            "paths:",
            "  runs: {watches: roof_pv, trips: running for 3 s, clears: stopped for 9 s, blocks: roof_pv}\npaths:",
        ),
    )
    assert found(text) == []
    assert found(edited(text, ("running for 3 s", "running for 6 s"))) == [
        ("requirement-unprotected", "overfull_charge/roof_pv")
    ]


# --- against the brute-force judge

SCHEMES = 400
MODE = {
    Loss.WIRE: Mode.BROKEN,
    Loss.OVERRIDE_WIRE: Mode.BROKEN,
    Loss.MODE_WIRE: Mode.BROKEN,
    Loss.UNIT: Mode.DEAD,
    Loss.OPEN: Mode.OPEN,
    Loss.SHORTED: Mode.SHORTED,
}
assert set(MODE) == set(Loss)


def verdict(scheme: Scheme, claim: Claim, faults: Sequence[Fault] = ()) -> BruteVerdict | None:
    try:
        return judge(scheme, claim, faults, Options(most_states=10_000))
    except OutOfReach:
        return None


def runs_freely(scheme: Scheme, claim: Claim, faults: Sequence[Fault]) -> bool:
    """Whether the path may run for ever when nothing is asked: else rules that have nothing to do with the claim end
    each run of it, which a look without time does not see."""
    free = verdict(scheme, replace(claim, conditions=(), any_of=()), faults)
    return free is not None and free.n is None


def suspects(scheme: Scheme) -> Iterator[tuple[str, Claim, tuple[Fault, ...]]]:
    """Claims said to be without protection, whose threshold is crossed, or that one loss breaks, with that fault."""
    facts = Facts(scheme)
    bare = {f.name for f in check(scheme) if f.ident == "requirement-unprotected"}
    for claim, guard in facts.guards:
        if not all(
            runs_as_told(scheme.outputs[o], on=True) for p in ahead(scheme, claim.path) for o in scheme.paths[p].outputs
        ):
            continue  # with a contact turned round every rule lets run what it blocks
        if claim.name in bare:
            yield "unprotected", claim, ()
        if guard.protections and not guard.enough and not guard.loosely:
            yield "error over limit", claim, ()
        for defeat in told_losses(scheme, claim, guard):
            if defeat in guard.lost_to():
                yield "loss", claim, (scheme.faults[f"{defeat.part}.{MODE[defeat.loss]}"],)


def test_what_is_said_to_be_unprotected_is_violated_where_the_path_can_run_freely() -> None:
    """A static look and a full search: of the claims that a finding calls unprotected, nearly all are violated. The few
    others are protected by rules that look at something else and act all the same."""
    counts: Counter[tuple[str, str]] = Counter()
    for seed in range(SCHEMES):
        scheme = loads(random_scheme_text(random.Random(seed), TINY if seed % 2 else SMALL))
        for kind, claim, faults in suspects(scheme):
            seen = verdict(scheme, claim, faults)
            if seen is not None and seen.verdict != "vacuous" and runs_freely(scheme, claim, faults):
                counts[kind, seen.verdict] += 1
    print(dict(sorted(counts.items())))
    for kind in ("unprotected", "error over limit", "loss"):
        violated, holds = counts[kind, "violated"], counts[kind, "holds"]
        assert violated >= 10, (kind, counts)
        assert holds <= violated / 10, (kind, counts)


def test_a_requirement_said_never_to_apply_is_vacuous() -> None:
    seen = 0
    for seed in range(SCHEMES * 2):
        scheme = loads(random_scheme_text(random.Random(seed), TINY if seed % 2 else SMALL))
        never = {f.name for f in check(scheme) if f.ident == "requirement-never-applies"}
        for claim in scheme.claims:
            if claim.requirement in never and (found_verdict := verdict(scheme, claim)):
                assert found_verdict.verdict == "vacuous", (seed, claim.name)
                seen += 1
    assert seen >= 5
    print(f"{seen} claims of requirements that never apply: all vacuous")
