"""The second opinions catch a broken prover: mistakes sown one at a time, each in another place of it.

Each is a small one that somebody could make. It is sown by replacing one function of the prover while the test runs.
The same questions are asked with it and without; a question that it leaves without an answer catches nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice
from typing import Any

import pytest

from interlock.proof import bounds, cells, circuit, explicit, margins, prove, search, settle, system
from interlock.proof.components import TRIPPED, Kind, Layout
from interlock.proof.expr import TRUE, conj
from interlock.proof.goal import Resets
from interlock.records import replace
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.words import Combine, OnInvalid
from tests.conftest import Shown
from tests.support import spin_model, z3_model
from tests.support.brute import Options
from tests.support.brute_margins import margins as margins_by_brute
from tests.support.profiles import DELAYED, TINY, Profile
from tests.support.questions import Opinion, Question, answer, by_prover, stream

MOST = Options(most_states=1_500)
COMBINED = replace(DELAYED, readings=(1, 2))

Patch = pytest.MonkeyPatch
Ask = Callable[[Question, int], str]


def around(patch: Patch, owner: object, name: str, new: Callable[..., Any]) -> None:
    """`owner.name` replaced by `new`, which is given what it replaces as its first argument."""
    old = getattr(owner, name)

    def instead(*given: Any, **named: Any) -> Any:
        return new(old, *given, **named)

    patch.setattr(owner, name, instead)


# --- components


def pick_up_a_scan_longer(patch: Patch) -> None:
    def of(old: Any, self: Layout, kind: Kind, key: Any, start: int, delays: tuple[int, ...]) -> int:
        if kind is Kind.RULE and delays[1]:
            delays = (delays[0], delays[1] + 1, *delays[2:])
        return old(self, kind, key, start, delays)  # type: ignore[no-any-return]

    around(patch, Layout, "of", of)


def contact_a_scan_shorter(patch: Patch) -> None:
    def of(old: Any, self: Layout, kind: Kind, key: Any, start: int, delays: tuple[int, ...]) -> int:
        if kind is Kind.WITHIN and delays[1] > 1:
            delays = (delays[0], delays[1] - 1, *delays[2:])
        return old(self, kind, key, start, delays)  # type: ignore[no-any-return]

    around(patch, Layout, "of", of)


def powered_up_tripped(patch: Patch) -> None:
    def of(old: Any, self: Layout, kind: Kind, key: Any, start: int, delays: tuple[int, ...]) -> int:
        return old(self, kind, key, TRIPPED if kind is Kind.RULE else start, delays)  # type: ignore[no-any-return]

    around(patch, Layout, "of", of)


# --- circuit


def held_button_resets(patch: Patch) -> None:
    def latch(old: Any, self: Any, start: bool, *key: str) -> Any:
        return TRUE if key[0] == "seen_off" else old(self, start, *key)

    around(patch, circuit.Circuit, "_latch", latch)


def path_seen_in_the_same_scan(patch: Patch) -> None:
    """Wherever that closes no loop."""
    open_: set[tuple[int, str]] = set()

    def commanded(old: Any, self: Any, unit: str, path: str) -> Any:
        here = (id(self), path)
        if here in open_:
            return old(self, unit, path)
        open_.add(here)
        seen = conj([self._on(output) for output in self.scheme.drives(unit, path)])
        open_.remove(here)
        return seen

    around(patch, circuit.Circuit, "_commanded", commanded)


def override_without_end(patch: Patch) -> None:
    around(
        patch, circuit.Circuit, "_overriding", lambda old, self, rule: old(self, replace(rule, override_at_most=None))
    )


def modes_not_heeded(patch: Patch) -> None:
    patch.setattr(circuit.Circuit, "_modes", lambda _self, _unit, _when: TRUE)


def free_rule_never_lets_go(patch: Patch) -> None:
    def one_sign(old: Any, self: Any, name: str) -> int:
        return old(self, name) or int(name[0] == "b")

    around(patch, circuit.Circuit, "one_sign", one_sign)


# --- what readings can be


def strict_limit_lets_its_value_in(patch: Patch) -> None:
    def limit_span(old: Any, limit: Any) -> cells.Span:
        del old
        edge = limit.value * bounds.SCALE
        return cells.Span(None, edge) if limit.compare.downward else cells.Span(edge, None)

    around(patch, cells, "_limit_span", limit_span)


def hold_taken_for_neither(patch: Patch) -> None:
    patch.setitem(cells.INVALID_CODE, OnInvalid.HOLD, cells.NEITHER)


def median_of_two_is_the_upper(patch: Patch) -> None:
    patch.setattr(cells, "_mean_of_middle", lambda valid, span: cells._combined(Combine.HIGHEST_OF, valid, span))


def bounds_not_closed_again(patch: Patch) -> None:
    def add(old: Any, self: bounds.Bounds, i: int, j: int, bound: int) -> bool:
        del old
        if bound + self.cells[j * self.size + i] < 0:
            return False
        self.cells[i * self.size + j] = min(bound, self.cells[i * self.size + j])
        return True

    around(patch, bounds.Bounds, "add", add)


# --- states and moves


def stuck_sensor_follows_the_truth(patch: Patch) -> None:
    def view(old: Any, self: system.System, number: int, onset: tuple[int, ...] = ()) -> Any:
        del onset
        return old(self, number, tuple(range(len(self.sensors))))

    around(patch, system.System, "view", view)


def faults_arise_at_the_first_scan_alone(patch: Patch) -> None:
    def config_moves(old: Any, self: system.System, number: int) -> list[Any]:
        last = (1 << len(self.plan.service)) - 1
        return [move for move in old(self, number) if self.configs[move[0]].arisen == last]

    around(patch, system.System, "config_moves", config_moves)


def two_signs_compared_as_one(patch: Patch) -> None:
    def signs(old: Any, self: system.System) -> list[int]:
        return [s or int(c.kind is Kind.RULE) for s, c in zip(old(self), self.layout.comps, strict=True)]

    around(patch, system.System, "_taken", signs)


# --- what is known before any search


def running_down_takes_no_time(patch: Patch) -> None:
    def settling(old: Any, self: Any, name: str) -> Any:
        return settle.QUIET if old(self, name) is not None else None

    around(patch, settle.Settler, "settling", settling)


def running_down_a_scan_shorter(patch: Patch) -> None:
    def settling(old: Any, self: Any, name: str) -> Any:
        known = old(self, name)
        return replace(known, scans=known.scans - 1) if known is not None and known.scans else known

    around(patch, settle.Settler, "settling", settling)


# --- the searches


def last_scan_of_a_delay_a_scan_early(patch: Patch) -> None:
    def clocks(old: Any, self: search.Search, places: Any) -> tuple[list[int], list[int]]:
        running, most = old(self, places)
        return running, [max(0, top - 1) for top in most]

    around(patch, search.Search, "clocks", clocks)


def dominance_the_wrong_way_round(patch: Patch) -> None:
    around(patch, search.Search, "larger_is_better", lambda old, self, i, place: -old(self, i, place))


def out_of_budget_taken_for_finished(patch: Patch) -> None:
    def explore(old: Any, self: search.Search, *given: Any) -> Iterator[Any]:
        try:
            yield from old(self, *given)
        except search.BudgetError:
            return

    around(patch, search.Search, "explore", explore)


def timer_of_the_plain_search_a_scan_ahead(patch: Patch) -> None:
    def successor(old: Any, running: Any, state: Any, move: Any) -> Any:
        config, places, timers = old(running, state, move)
        ahead = list(timers)
        for i, delay in running[places]:
            if places[i] != state[1][i]:
                ahead[i] = min(1, delay - 1)
        return config, places, tuple(ahead)

    around(patch, explicit, "successor", successor)


# --- around them


def resets_left_to_the_button(patch: Patch) -> None:
    around(patch, prove, "of_claim", lambda old, claim: replace(old(claim), resets=Resets.READ))


def nearest_edge_overlooked(patch: Patch) -> None:
    def critical_values(old: Any, decider: Any, condition: Any, up: bool) -> list[int]:
        here = condition.test.value
        edges: list[int] = old(decider, condition, up)
        ahead = [edge for edge in edges if (edge >= here if up else edge <= here)]
        return [edge for edge in edges if not ahead or edge != (min(ahead) if up else max(ahead))]

    around(patch, margins, "critical_values", critical_values)


def margins_too(question: Question, budget: int) -> str:
    """The margins of a claim that holds, as the prover works them out."""
    found = prove.prove(question.scheme, question.claim, question.faults, budget=budget, trace=False)
    return _in_words([margin.value for margin in found.margins])


def _in_words(values: Sequence[Fraction | int | None]) -> str:
    return "margins " + ", ".join("open" if value is None else str(Fraction(value)) for value in values)


@dataclass(frozen=True)
class Bug:
    """A mistake, and where to look for it.

    `within`: it must show within so many questions. `kind`, `word`: as in `stream`. `budget`: of zones; with one of 3
    the plain search decides everything. `asked`: these answer the question that gives it away as well. `margins`: it
    is the margins that go wrong.
    """

    sow: Callable[[Patch], None]
    within: int
    first: int
    profile: Profile = DELAYED
    faults: int = 0
    kind: str = ""
    word: str = ""
    budget: int = prove.BUDGET
    asked: tuple[str, ...] = ()
    margins: bool = False

    def __str__(self) -> str:
        return self.sow.__name__.replace("_", " ")

    def questions(self) -> Iterator[Question]:
        """Those whose answer is a run of two scans or more."""
        asked = stream(self.profile, self.faults, self.first, MOST, kind=self.kind, word=self.word)
        timed = (q for q in asked if q.timed and (not self.margins or q.brute.startswith("holds")))
        return islice(timed, self.within)

    def expected(self, question: Question) -> str:
        """What the brute force answers."""
        if not self.margins:
            return question.brute
        return _in_words(margins_by_brute(question.scheme, question.claim, question.faults, MOST))

    def answered(self, question: Question) -> str:
        """What the prover answers."""
        return margins_too(question, self.budget) if self.margins else by_prover(question, self.budget)


BOTH = ("spin", "z3")
BUGS = (
    Bug(pick_up_a_scan_longer, 20, 700_000, asked=BOTH),
    Bug(contact_a_scan_shorter, 20, 700_000, word="stops within", asked=BOTH),
    Bug(powered_up_tripped, 20, 700_020, word="power up clear", asked=BOTH),
    Bug(held_button_resets, 20, 700_090, word="reset by hand", asked=("spin",)),
    Bug(path_seen_in_the_same_scan, 20, 700_000, word="watches path", asked=BOTH),
    Bug(override_without_end, 20, 700_000, word="override at most", asked=BOTH),
    Bug(modes_not_heeded, 20, 700_240, word="blocks in a mode"),
    Bug(free_rule_never_lets_go, 20, 700_000),
    Bug(strict_limit_lets_its_value_in, 20, 700_040, COMBINED, word="watches sensor", asked=BOTH),
    Bug(hold_taken_for_neither, 20, 700_110, TINY, 1, "sensor open", "on invalid hold", asked=("spin",)),
    Bug(median_of_two_is_the_upper, 20, 700_200, COMBINED, word="median_of"),
    Bug(bounds_not_closed_again, 20, 700_000),
    Bug(stuck_sensor_follows_the_truth, 20, 700_050, faults=1, kind="sensor stuck", word="stale after"),
    Bug(faults_arise_at_the_first_scan_alone, 20, 700_000, faults=1),
    Bug(two_signs_compared_as_one, 20, 700_000),
    Bug(running_down_takes_no_time, 20, 700_010, word="never_stopped"),
    Bug(running_down_a_scan_shorter, 20, 700_080, word="never_stopped"),
    Bug(last_scan_of_a_delay_a_scan_early, 20, 700_000),
    Bug(dominance_the_wrong_way_round, 20, 700_040),
    Bug(out_of_budget_taken_for_finished, 20, 700_000, budget=12),
    Bug(timer_of_the_plain_search_a_scan_ahead, 20, 700_000, budget=3),
    Bug(resets_left_to_the_button, 20, 700_000, TINY, word="never_stopped"),
    Bug(nearest_edge_overlooked, 20, 700_000, TINY, word="condition on quantity", margins=True),
)
OPINIONS: dict[str, Callable[[Scheme, Claim, Sequence[Fault]], Opinion]] = {
    "spin": spin_model.judge,
    "z3": z3_model.judge,
}


def test_there_are_more_than_ten_seeded_bugs_each_of_its_own() -> None:
    assert len({bug.sow for bug in BUGS}) == len(BUGS) >= 10
    for name in OPINIONS:
        assert sum(name in bug.asked for bug in BUGS) >= 6


@pytest.mark.parametrize("bug", BUGS, ids=str)
def test_the_second_opinions_catch_a_seeded_bug(bug: Bug, shown: Shown) -> None:
    for number, question in enumerate(bug.questions(), 1):
        right = bug.expected(question)
        assert bug.answered(question) == right, f"{question}: they differ without any bug"
        with pytest.MonkeyPatch.context() as patch:
            bug.sow(patch)
            wrong = _answer_or_none(bug, question)
        if wrong in (None, "undecided", right):
            continue
        by = ["the brute force"]
        for name in bug.asked:
            said = answer(question, OPINIONS[name](question.scheme, question.claim, question.faults))
            assert said == right, f"{question}: {name} says {said}"
            by.append(name)
        line = f"{bug}: caught by {', '.join(by)} at question {number} ({right}; with the bug {wrong})"
        print(line)
        shown("seeded bugs", line)
        return
    pytest.fail(f"{bug}: not caught within {bug.within} questions")


def _answer_or_none(bug: Bug, question: Question) -> str | None:
    """What the broken prover answers; None where it falls over."""
    try:
        return bug.answered(question)
    except Exception:
        return None
