"""The minimal cut sets of one claim up to a size: complete, minimal, and without judging every set.

A hitting-set tree (Reiter 1987). A ruling that the claim holds under a set rests on its support: a larger set with no
other fault in that support is ruled the same. So beside a set only the faults in its support are tried, by size, then
in the catalogue's order; a set that contains a cut set is never tried, so what is found is minimal. A ruling may have
several supports, each by itself enough: a larger set that spares one of them is ruled the same.

The search only says which sets it wants judged (`wanted`) and is told what came of them (`told`): who judges them, in
which order and when, changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from interlock.faults.cutsets import Names, bits_of, by_size
from interlock.faults.judge import Answer, Ruling, Shown
from interlock.scheme.model import Fault
from interlock.scheme.words import Mode, Part

FaultNames = tuple[str, ...]  # a fault set, in the catalogue's order
Mask = int  # the same: one bit for each fault of the catalogue


@dataclass(frozen=True, slots=True)
class Ask:
    """A set to be judged. `before`: on what the claim was shown to hold with fewer faults, as few as can be of the
    others in its support. `also`: on what else it was shown to hold then, likewise in order. `deeper`: whether larger
    sets may be asked for next, so that supports are wanted."""

    faults: FaultNames
    before: Shown | None
    deeper: bool
    also: tuple[Shown, ...] = ()


@dataclass(frozen=True, slots=True)
class Rests:
    """One way to show that a claim holds, and the catalogue's faults in the support of that."""

    shown: Shown
    near: FaultNames


@dataclass(frozen=True, slots=True)
class Told:
    """What came of an Ask. `near`: where the claim holds and it was wanted, the catalogue's faults in the support;
    `others`: other ways to show it."""

    faults: FaultNames
    ruling: Ruling
    near: FaultNames = ()
    others: tuple[Rests, ...] = ()


@dataclass(frozen=True, slots=True)
class Undecided:
    """A set that was not decided; what contains it was not tried."""

    faults: FaultNames
    reason: str


@dataclass(frozen=True, slots=True)
class CutSets:
    """What is known of one claim's cut sets.

    `minimal`: by size, then in the catalogue's order; the empty set where the claim is violated without any fault.
    `judged`: how many sets were judged; all others follow from supports or from a cut set inside them. `near`: the
    faults that the healthy verdict rests on; without one of them no set is a cut set. `done`: all sets of so many
    faults and fewer are accounted for; -1 where not even the healthy claim was. `waiting`: sets not judged yet.
    """

    minimal: tuple[FaultNames, ...]
    undecided: tuple[Undecided, ...]
    judged: int
    near: FaultNames
    done: int
    waiting: int = 0


@dataclass(frozen=True, slots=True)
class _Label:
    """Why the claim holds under a set: the ruling and the support (as a mask) of it or of a part of it."""

    shown: Shown
    near: Mask


class CutSetSearch:
    """The search for one claim over a catalogue, up to `size` faults. `beside`: a search for another one over the same
    catalogue, which has been looked through for it."""

    def __init__(self, catalogue: Mapping[str, Fault], size: int, beside: CutSetSearch | None = None) -> None:
        self.size = size
        self._names: Names = Names(catalogue) if beside is None else beside._names
        self._rivals: dict[Mask, Mask] = _rivals(catalogue) if beside is None else beside._rivals
        self._labels: dict[Mask, list[_Label]] = {}
        self._closed: list[Mask] = []  # cut sets, undecided and meaningless sets: nothing that contains one is tried
        self._cut: list[Mask] = []
        self._undecided: list[Undecided] = []
        self._judged = 0
        self._level: list[Mask] = []  # the sets of the last level under which the claim holds
        self._done = -1
        self._asked: dict[Mask, Ask] = {0: Ask((), None, size > 0)}

    @property
    def wanted(self) -> tuple[Ask, ...]:
        """The sets to be judged next, in order; () where the search is done."""
        return tuple(self._asked.values())

    def told(self, answers: Iterable[Told]) -> None:
        """Take the answers to some of what was wanted, in any order; the next level follows when all are there."""
        for told in answers:
            mask = self._names.mask(told.faults)
            del self._asked[mask]
            self._judged += 1
            match told.ruling.answer:
                case Answer.HOLDS:
                    assert told.ruling.shown is not None
                    rests = Rests(told.ruling.shown, told.near), *told.others
                    self._labels[mask] = [_Label(r.shown, self._names.mask(r.near)) for r in rests]
                    self._level.append(mask)
                case Answer.VIOLATED:
                    self._cut.append(mask)
                    self._closed.append(mask)
                case Answer.UNDECIDED:
                    self._undecided.append(Undecided(told.faults, told.ruling.reason))
                    self._closed.append(mask)
                case Answer.MEANINGLESS:
                    self._closed.append(mask)
        while not self._asked and self._done < self.size:
            self._done += 1
            if self._done < self.size:
                self._ask_next()

    def result(self) -> CutSets:
        """What is known so far."""
        healthy = min(self._labels.get(0, ()), key=_breadth, default=None)
        return CutSets(
            self._names.family(self._cut),
            tuple(sorted(self._undecided, key=lambda u: by_size(self._names.mask(u.faults)))),
            self._judged,
            self._names.members(healthy.near) if healthy else (),
            self._done,
            len(self._asked),
        )

    # --- the next level

    def _ask_next(self) -> None:
        """The sets of one more fault that have to be judged; those that follow are settled at once."""
        level, self._level = sorted(self._level, key=by_size), []
        deeper = self._done + 1 < self.size
        seen: set[Mask] = set()
        for base in level:
            label = min(self._standing(base), key=_breadth)
            for bit in bits_of(label.near & ~base):
                mask = base | bit
                if mask in seen or self._shut(mask):
                    continue
                seen.add(mask)
                if not any(True for _ in self._standing(mask)):
                    self._asked[mask] = self._ask(mask, deeper=deeper)
                elif deeper:
                    self._level.append(mask)
        self._asked = dict(sorted(self._asked.items(), key=lambda item: by_size(item[0])))

    def _shut(self, mask: Mask) -> bool:
        """Whether nothing is to be learnt there: a cut set or an undecided set is inside, or two swaps of one part."""
        return any(c & mask == c for c in self._closed) or any(self._rivals[b] & mask for b in bits_of(mask))

    def _standing(self, mask: Mask) -> Iterator[_Label]:
        """Why the claim holds under a set, judged or not: labels of its parts whose supports lack the rest of it."""
        for part in _parts(mask):
            for label in self._labels.get(part, ()):
                if not label.near & mask & ~part:
                    yield label

    def _ask(self, mask: Mask, *, deeper: bool) -> Ask:
        """A set to be judged, first by what the fewest of its faults may spoil."""
        known = [
            ((label.near & mask & ~part).bit_count(), -part.bit_count(), label.shown.zones, number, label.shown)
            for part in _parts(mask)
            for number, label in enumerate(self._labels.get(part, ()))
        ]
        # of those as good, what was found with more of its faults: it follows what they made worth following
        before, *others = (shown for *_, shown in sorted(known, key=lambda item: item[:4]))
        return Ask(self._names.members(mask), before, deeper, tuple(shown for shown in others if shown is not before))


def _parts(mask: Mask) -> Iterator[Mask]:
    """All sets within a set, itself first."""
    part = mask
    while part:
        yield part
        part = (part - 1) & mask
    yield 0


def _breadth(label: _Label) -> int:
    return label.near.bit_count()


def _rivals(catalogue: Mapping[str, Fault]) -> dict[Mask, Mask]:
    """For each fault as a mask, the faults that can't be there beside it: swaps that share a part."""
    swapped: dict[tuple[Part, str], Mask] = {}
    swaps: dict[Mask, list[tuple[Part, str]]] = {}
    for i, fault in enumerate(catalogue.values()):
        places = [(s.part, p) for s in fault.single() if s.mode is Mode.SWAPPED for p in s.parts]
        swaps[1 << i] = places
        for place in places:
            swapped[place] = swapped.get(place, 0) | 1 << i
    return {bit: _union(swapped[p] for p in places) & ~bit for bit, places in swaps.items()}


def _union(masks: Iterable[Mask]) -> Mask:
    found = 0
    for mask in masks:
        found |= mask
    return found
