"""What one set's judging leaves for the next changes no ruling: a judge that has judged others rules as a fresh one."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from interlock.faults.judge import Answer, Judge
from interlock.proof.index import Index
from interlock.proof.system import System
from interlock.scheme.read import loads
from tests.support.profiles import TINY
from tests.support.random_schemes import random_scheme_text

SCHEMES = range(9200, 9212)
BUDGET = 400


def test_a_judge_that_has_judged_others_rules_as_a_fresh_one(monkeypatch: pytest.MonkeyPatch) -> None:
    shared, answers = Counter[bool](), Counter[Answer]()
    go_on_from = System.go_on_from

    def counted(system: System, other: System) -> None:
        shared[bool(other.memo)] += 1
        go_on_from(system, other)

    monkeypatch.setattr(System, "go_on_from", counted)
    for seed in SCHEMES:
        scheme = loads(random_scheme_text(random.Random(seed), TINY), "random.yaml")
        index = Index(scheme)
        for claim in scheme.claims:
            used = Judge(index, claim, BUDGET)
            for fault in scheme.faults.values():
                ruling = used.rule([fault])
                assert ruling == Judge(Index(scheme), claim, BUDGET).rule([fault]), (seed, claim.name, fault.name)
                answers[ruling.answer] += 1
    print(answers, shared)
    assert shared[True] > 200, "systems with something found out about them were met again"
    assert answers[Answer.HOLDS] > 100
    assert answers[Answer.VIOLATED] > 100
