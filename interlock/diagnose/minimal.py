"""Diagnosis from consistency: the smallest sets of parts whose misbehaviour would explain everything seen.

A part that misbehaves may do anything. A *conflict* is a set of parts that can't all be sound, given what was seen; a
*diagnosis* is a set of parts without which the rest can be. The minimal diagnoses are the minimal sets that share a
part with every conflict (Reiter, "A theory of diagnosis from first principles", 1987). Conflicts are found as they are
needed: a set that hits all known ones and is no diagnosis yet shows another.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import chain

from interlock.faults.cutsets import minimal_hitting_sets
from interlock.faults.tree import Family

# Whether all that was seen can be while these parts may do anything and all others are sound. Of a larger set it must
# be true where it is of a smaller one.
Consistent = Callable[[frozenset[str]], bool]


def minimal_diagnoses(parts: Sequence[str], consistent: Consistent, order: int | None = None) -> Family:
    """All minimal diagnoses, or those of at most `order` parts: by size, then by the order of the parts.

    () alone where nothing need be wrong; no diagnosis where what was seen can't be, whatever misbehaves.
    """
    if not consistent(frozenset(parts)):
        return ()
    place = {part: i for i, part in enumerate(parts)}
    known: dict[frozenset[str], bool] = {}
    conflicts: list[tuple[str, ...]] = []
    while True:
        found = minimal_hitting_sets(conflicts, order)
        wrong = None
        for chosen in map(frozenset, found):
            if chosen not in known:
                known[chosen] = consistent(chosen)
            if not known[chosen]:
                wrong = chosen
                break
        if wrong is None:
            sets = (tuple(sorted(each, key=place.__getitem__)) for each in found)
            return tuple(sorted(sets, key=lambda each: (len(each), [place[part] for part in each])))
        conflicts.append(minimal_conflict([p for p in parts if p not in wrong], parts, consistent))


def minimal_conflict(sound: Sequence[str], parts: Sequence[str], consistent: Consistent) -> tuple[str, ...]:
    """A smallest part of `sound` that can't all be sound. Raises ValueError where all of it can.

    By halves (Junker, "QuickXplain: preferred explanations and relaxations for over-constrained problems", 2004): few
    questions where the conflict is small among many parts.
    """
    everything = frozenset(parts)

    def clash(assumed: Sequence[str]) -> bool:
        return not consistent(everything - frozenset(assumed))

    if not clash(sound):
        raise ValueError("these parts can all be sound")

    def smallest(background: Sequence[str], fresh: bool, wanted: Sequence[str]) -> list[str]:
        if fresh and clash(background):
            return []
        if len(wanted) == 1:
            return list(wanted)
        first, second = wanted[: len(wanted) // 2], wanted[len(wanted) // 2 :]
        of_second = smallest([*background, *first], bool(first), second)
        of_first = smallest([*background, *of_second], bool(of_second), first)
        return list(chain(of_first, of_second))

    if clash(()):
        return ()
    return tuple(smallest((), False, tuple(sound)))
