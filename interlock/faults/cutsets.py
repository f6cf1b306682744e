"""Minimal cut sets of a fault tree, and minimal hitting sets of a family: complete, minimal, always in the same order.

A set is written as a tuple of names in the order of the events; a family goes by size, then by the order of its events.
Inside, a set is an integer with one bit for each event.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from interlock.faults.tree import CutSet, Family, Gate, GateKind, Tree

Masks = list[int]


class Names:
    """Names numbered in the order in which they are first met, and sets of them as integers."""

    def __init__(self, names: Iterable[str] = ()) -> None:
        self.bits: dict[str, int] = {}
        self._order: list[str] = []
        for name in names:
            self.bit(name)

    def bit(self, name: str) -> int:
        """The integer of the set with this one name."""
        if name not in self.bits:
            self.bits[name] = 1 << len(self._order)
            self._order.append(name)
        return self.bits[name]

    def mask(self, names: Iterable[str]) -> int:
        """The integer of a set of names."""
        found = 0
        for name in names:
            found |= self.bit(name)
        return found

    def members(self, mask: int) -> CutSet:
        """A set as a tuple of names, in their order."""
        return tuple(self._order[bit.bit_length() - 1] for bit in bits_of(mask))

    def family(self, masks: Iterable[int]) -> Family:
        """Sets as tuples of names, by size, then by the order of their names."""
        return tuple(self.members(mask) for mask in sorted(masks, key=by_size))


def by_size(mask: int) -> tuple[int, list[int]]:
    """What sorts sets by size, then by the order of their names."""
    return mask.bit_count(), list(bits_of(mask))


def bits_of(mask: int) -> Iterator[int]:
    """The sets of one name that a set is made of."""
    while mask:
        bit = mask & -mask
        yield bit
        mask ^= bit


def smallest(masks: Iterable[int]) -> Masks:
    """The sets that contain no other one of them, by size and then by value."""
    kept: Masks = []
    known: set[int] = set()
    for mask in sorted(set(masks), key=lambda m: (m.bit_count(), m)):
        if not _has_subset(mask, kept, known):
            kept.append(mask)
            known.add(mask)
    return kept


def _has_subset(mask: int, kept: Masks, known: set[int]) -> bool:
    """Whether one of the kept sets is a subset of the mask: by its subsets where these are fewer."""
    size = mask.bit_count()
    if size < 30 and 1 << size <= len(kept):
        part = mask
        while True:
            if part in known:
                return True
            if not part:
                return False
            part = (part - 1) & mask
    return any(k & mask == k for k in kept)


def minimal(family: Iterable[Iterable[str]]) -> Family:
    """The sets of the family that contain no other set of it."""
    names = Names()
    return names.family(smallest([names.mask(s) for s in family]))


def minimal_cut_sets(tree: Tree, order: int | None = None) -> Family:
    """All minimal cut sets of the tree, or all those of at most `order` events.

    Bottom-up: each gate's minimal cut sets from those of its inputs, once for each gate however often it is named. A
    set that has grown beyond `order` is left at once, which loses no smaller one: sets only grow on the way up.
    """
    names = Names(tree.events())
    found: dict[str, Masks] = {name: [bit] for name, bit in names.bits.items()}
    if order is not None and order < 1:
        found = {name: [] for name in names.bits}
    for gate in tree.upwards():
        found[gate.name] = _of_gate(gate, [found[i] for i in gate.inputs], order)
    return names.family(found[tree.top])


def _of_gate(gate: Gate, inputs: Sequence[Masks], order: int | None) -> Masks:
    match gate.kind:
        case GateKind.OR:
            return smallest(mask for masks in inputs for mask in masks)
        case GateKind.AND:
            return _at_least(len(inputs), inputs, order)
        case GateKind.AT_LEAST:
            return _at_least(gate.needs, inputs, order)


def _at_least(needed: int, inputs: Sequence[Masks], order: int | None) -> Masks:
    """The cut sets of `needed` of the inputs: row[j] are those of j of the inputs taken so far.

    Small inputs go first, and a row that the inputs left can't complete is not made.
    """
    row: list[Masks] = [[0], *([] for _ in range(needed))]
    for taken, masks in enumerate(sorted(inputs, key=len)):
        left = len(inputs) - taken - 1
        for j in range(min(needed, taken + 1), max(0, needed - left - 1), -1):
            row[j] = smallest([*row[j], *_products(row[j - 1], masks, order)])
    return row[needed]


def _products(ones: Masks, others: Masks, order: int | None) -> Iterator[int]:
    for one in ones:
        for other in others:
            both = one | other
            if order is None or both.bit_count() <= order:
                yield both


def minimal_hitting_sets(family: Iterable[Iterable[str]], order: int | None = None) -> Family:
    """All minimal sets of events that share one with every set of the family, or all those of at most `order` events.

    The dual of a family of minimal cut sets: these are the minimal path sets, and their dual is the family again. An
    empty family is hit by the empty set; a family with an empty set by nothing. Depth first, each found once: a set
    grows only while each of its events is the only one that hits some set (the critical sets of Murakami and Uno,
    "Efficient algorithms for dualizing large-scale hypergraphs", 2014).
    """
    names = Names()
    sets = smallest([names.mask(s) for s in family])
    return names.family(_hitting(sets, order))


def _hitting(sets: Masks, order: int | None) -> Iterator[int]:
    containing: dict[int, int] = {}  # event bit: the numbers of the sets that contain it, as bits
    for number, mask in enumerate(sets):
        for event in bits_of(mask):
            containing[event] = containing.get(event, 0) | 1 << number
    everything = 0
    for mask in sets:
        everything |= mask
    # chosen events, sets not hit yet, for each chosen event the sets that it alone hits, events still allowed
    waiting: list[tuple[int, int, tuple[int, ...], int]] = [(0, (1 << len(sets)) - 1, (), everything)]
    while waiting:
        chosen, missed, critical, allowed = waiting.pop()
        if not missed:
            yield chosen
            continue
        if order is not None and chosen.bit_count() >= order:
            continue
        target = min((bit.bit_length() - 1 for bit in bits_of(missed)), key=lambda n: (sets[n] & allowed).bit_count())
        options = sets[target] & allowed
        rest = allowed & ~options
        for event in bits_of(options):
            hit = containing[event]
            kept = tuple(c & ~hit for c in critical)
            if all(kept):
                waiting.append((chosen | event, missed & ~hit, (*kept, missed & hit), rest))
            rest |= event
