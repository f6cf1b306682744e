"""Records compared without some of their fields; changed copies of records of both kinds."""

from __future__ import annotations

import pickle
from dataclasses import dataclass

import pytest
from msgspec import Struct

from interlock.records import Aside, replace
from interlock.scheme.model import Condition
from interlock.scheme.source import NOWHERE, Place
from interlock.scheme.words import Signal


class Plain(Struct, frozen=True):
    name: str
    value: int = 0


@dataclass(frozen=True)
class Dated:
    name: str
    value: int = 0


HERE = Condition(Signal.LINE, "permit", True, Place(3, 5, 6))
THERE = Condition(Signal.LINE, "permit", True, NOWHERE)
OTHER = Condition(Signal.LINE, "permit", False, Place(3, 5, 6))


def test_what_differs_in_its_place_alone_is_the_same() -> None:
    assert HERE == THERE
    assert not HERE != THERE  # noqa: SIM202 (the other operator, which has a method of its own)
    assert hash(HERE) == hash(THERE)
    assert len({HERE, THERE}) == 1
    assert pickle.loads(pickle.dumps(HERE)) == THERE


def test_what_differs_otherwise_is_not() -> None:
    assert HERE != OTHER
    assert not HERE == OTHER  # noqa: SIM201
    assert HERE != "permit"
    assert isinstance(HERE, Aside)


@pytest.mark.parametrize("kind", [Plain, Dated])
def test_a_changed_copy_leaves_the_record_as_it_was(kind: type[Plain] | type[Dated]) -> None:
    one = kind("a", 1)
    assert replace(one, value=2) == kind("a", 2)
    assert one == kind("a", 1)
    with pytest.raises(TypeError):
        replace(one, colour=3)
