"""Where a system can end up that moves in several ways: the states it rests in, the rings it can go round for ever."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from typing import TypeVar

S = TypeVar("S", bound=Hashable)
Moves = Mapping[S, Sequence[tuple[S, frozenset[str]]]]


def ends(
    begins: Iterable[S],
    step: Callable[[S], Iterable[tuple[S, frozenset[str]]]],
    mark: Callable[[S], bool],
) -> Iterator[frozenset[S]]:
    """Everything that can go on for ever: sets of states that can be gone round, and where only some of them have the
    mark, also what can be gone round among those, and among the others.

    `step` gives what may follow a state, each with the names of what has begun and is not done yet. What has begun gets
    done some time: nothing goes on for ever in which one and the same name waits at every step.
    """
    moves: dict[S, Sequence[tuple[S, frozenset[str]]]] = {}
    todo = list(begins)
    while todo:
        state = todo.pop()
        if state not in moves:
            moves[state] = list(step(state))
            todo += [after for after, _ in moves[state] if after not in moves]
    for ring in rings(moves, moves):
        yield ring
        marked = {state for state in ring if mark(state)}
        if 0 < len(marked) < len(ring):
            yield from rings(moves, marked)
            yield from rings(moves, ring - marked)


def rings(moves: Moves[S], among: Collection[S]) -> Iterator[frozenset[S]]:
    """The largest sets of these states within which one can go on for ever, each reachable from each."""
    for ring in _components(moves, among):
        inside = [waits for state in ring for after, waits in moves[state] if after in ring]
        if inside and not frozenset.intersection(*inside):
            yield ring


def _components(moves: Moves[S], among: Collection[S]) -> Iterator[frozenset[S]]:
    """Strongly connected components (Tarjan's algorithm), without recursion."""
    number: dict[S, int] = {}
    low: dict[S, int] = {}
    held: dict[S, None] = {}
    for root in among:
        if root in number:
            continue
        work: list[tuple[S, Iterator[S]]] = [(root, iter([a for a, _ in moves[root] if a in among]))]
        number[root] = low[root] = len(number)
        held[root] = None
        while work:
            state, after = work[-1]
            for other in after:
                if other not in number:
                    number[other] = low[other] = len(number)
                    held[other] = None
                    work.append((other, iter([a for a, _ in moves[other] if a in among])))
                    break
                if other in held:
                    low[state] = min(low[state], number[other])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[state])
                if low[state] == number[state]:
                    ring = []
                    while True:
                        last, _ = held.popitem()
                        ring.append(last)
                        if last == state:
                            break
                    yield frozenset(ring)
