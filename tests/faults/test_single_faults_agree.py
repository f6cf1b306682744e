"""Every claim under every single fault: the study's cut sets against a model checker and a solver.

The models are written from the meaning and not from our tables (tests/support/spin_model.py, z3_model.py).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from itertools import product

import pytest

from interlock.faults.court import Court
from interlock.faults.inject import inject
from interlock.faults.judge import BUDGET
from interlock.faults.parallel import Here
from interlock.scheme.model import Scheme
from interlock.scheme.read import loads
from tests.conftest import Counted
from tests.faults.corners import ALTERNATOR, HEATER, short_bench
from tests.support import spin_model, z3_model

Pairs = dict[tuple[str, str], bool]  # claim and fault: whether it is violated

SCHEMES: dict[str, Callable[[], Scheme]] = {
    "bench": lambda: loads(short_bench(), "bench.yaml"),
    "heater": lambda: loads(HEATER, "heater.yaml"),
    "alternator": lambda: loads(ALTERNATOR, "alternator.yaml"),
}


def by_the_study(scheme: Scheme) -> Pairs:
    study = inject(scheme, 1, Here(Court(scheme, BUDGET)))
    assert not any(found.undecided or () in found.minimal for found in study.cut_sets)
    return {
        (claim.name, fault): (fault,) in found.minimal
        for claim, found in zip(scheme.claims, study.cut_sets, strict=True)
        for fault in scheme.faults
    }


@pytest.mark.parametrize("name", SCHEMES)
def test_spin_finds_the_same_single_points(name: str, counted: Counted) -> None:
    scheme = SCHEMES[name]()
    study = by_the_study(scheme)
    pairs = list(product(scheme.claims, scheme.faults.values()))
    verdicts = Counter[str]()
    differ = []
    for i in range(0, len(pairs), 60):
        jobs = [spin_model.Job(scheme, claim, (fault,)) for claim, fault in pairs[i : i + 60]]
        for job, opinion in zip(jobs, spin_model.judge_all(jobs), strict=True):
            verdict = opinion.verdict(scheme, job.claim)
            verdicts[verdict] += 1
            if (verdict == "violated") is not study[job.claim.name, job.faults[0].name]:
                differ.append((job.claim.name, job.faults[0].name, verdict))
    assert differ == []
    assert verdicts["violated"] > 10
    assert verdicts["holds"] > 10
    counted("claims under single faults, with spin", verdicts)


@pytest.mark.parametrize("name", SCHEMES)
def test_z3_finds_the_same_single_points(name: str, counted: Counted) -> None:
    """A part of the pairs, dealt evenly over claims and faults: a solver takes seconds for each."""
    scheme = SCHEMES[name]()
    study = by_the_study(scheme)
    pairs = list(product(scheme.claims, scheme.faults.values()))
    some = pairs[:: max(1, len(pairs) // 12)]
    differ = []
    for claim, fault in some:
        verdict = z3_model.judge(scheme, claim, (fault,)).verdict(scheme, claim)
        if (verdict == "violated") is not study[claim.name, fault.name]:
            differ.append((claim.name, fault.name, verdict))
    assert differ == []
    counted("claims under single faults, with z3", {"claims": len(some)})
