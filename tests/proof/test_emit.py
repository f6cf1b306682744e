"""The two forms in which a rule's step is emitted, as one look into a table and as lines of its own, do the same."""

from __future__ import annotations

from itertools import product
from types import SimpleNamespace
from typing import Any

import pytest

from interlock.proof import emit
from interlock.proof.components import Statement
from interlock.proof.expr import FALSE, TRUE, Expr, neg, var
from interlock.scheme.words import PowerUp


def stepped(statement: Statement, delays: tuple[int, ...], given: dict[str, int]) -> tuple[Any, ...]:
    """The place, what is asked, what stands still, and whether the rule is active."""
    scope: dict[str, Any] = {**emit._TABLES, **given, "q": 0, "r": 0, "s": 0}
    exec("\n".join(emit._rule(statement, 2, delays)), scope)
    return scope["n2"], scope["q"], scope["s"], bool(scope["a2"])


@pytest.mark.parametrize("manual", [False, True])
@pytest.mark.parametrize("delays", [(0, 0, 0, 0, 0), (0, 5, 0, 0, 0), (0, 0, 0, 7, 0), (0, 5, 0, 7, 0)])
@pytest.mark.parametrize("edge", [FALSE, TRUE, var("e")])
def test_the_table_does_what_the_lines_do(manual: bool, delays: tuple[int, ...], edge: Expr) -> None:
    rule: Any = SimpleNamespace(manual=manual, power_up=PowerUp.CLEAR)
    numeric: tuple[dict[str, Any], list[dict[str, int]]] = {"code": "c"}, [{"c": c} for c in range(4)]
    watching: tuple[dict[str, Any], list[dict[str, int]]] = (
        {"expr": var("t"), "clears": neg(var("t"))},
        [{"t": t} for t in (False, True)],
    )
    places = [p for p in range(5) if delays[p] or p not in (1, 3)]
    for (seen, values), place, ends, e in product((numeric, watching), places, (0, 4, 3, 7), (0, 1)):
        short = Statement("a2", comp=2, edge=edge, rule=rule, **seen)
        long = Statement("a2", comp=2, edge=edge, rule=rule, cycle=var("z"), **seen)
        assert len(emit._rule(short, 2, delays)) < len(emit._rule(long, 2, delays))
        for value in values:
            given = {"l2": place, "E": ends, "e": e, "z": 0, **value}
            assert stepped(short, delays, given) == stepped(long, delays, given), given
