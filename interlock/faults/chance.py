"""How probable a claim's violation is: exactly where that can be computed, else between two bounds that say so.

Events are independent, each with its own probability; a family of minimal cut sets stands for "all events of one of
them occur". Families cut off at some order leave larger sets out: what is computed is then of the sets given, a lower
bound for the whole.

Exact means Shannon's expansion to the end, as in a binary decision diagram (Rauzy, "New algorithms for fault trees
analysis", 1993), each family of minimal sets worked out once, and parts that share no event taken one by one. Every
term is a product of probabilities and every sum of one sign, so the only error is that of floating-point rounding, some
1e-16 of the result for each step. Where the expansion would take more than the work allowed, improbable branches are
left undeveloped between two bounds, and the answer is an interval that contains the probability:

* from above 1 - prod(1 - P(cut set)), for independent events (Esary and Proschan, "Coherent structures of
  non-identical components", 1963);
* from below the better of two: the same over cut sets that share no event, which are independent; and the sum over
  the cut sets C of P(C) (1 - sum of P(D without C's events) over the D before it). The latter is the chance that C
  occurs and none before it, bounded by Boole's inequality.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import expm1, isfinite, prod

from interlock.faults.cutsets import Names, smallest
from interlock.faults.tree import Family
from interlock.scheme.model import Scheme

WORK = 300_000  # sets looked at in one try to expand a family: about a second
CUT_OFF = (0.0, 1e-12, 1e-9, 1e-6, 1e-4, 1e-2)  # branches at most this probable are left undeveloped, in turn

Masks = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Bounded:
    """A figure that lies from `lower` to `upper`; exact where the two are one."""

    lower: float
    upper: float

    @property
    def exact(self) -> float | None:
        """The figure itself, None where only bounds are known."""
        return self.lower if self.lower == self.upper else None


@dataclass(frozen=True, slots=True)
class Importance:
    """How much an event matters to a top event.

    `fussell_vesely`: the probability that a cut set with this event has occurred, given that the top event has (Fussell
    1975, Vesely and others 1983); None where the top event can't occur. `birnbaum`: the probability that this event
    decides, the others being what they are: P(top | event) - P(top | no event) (Birnbaum 1969).
    """

    event: str
    fussell_vesely: Bounded | None
    birnbaum: Bounded


def rare_event(family: Iterable[Iterable[str]], probability: Mapping[str, float]) -> float:
    """The rare-event bound: the sum of the cut sets' probabilities, never below the exact one (Boole's inequality).

    It may exceed 1. Raises ValueError as `chance` does.
    """
    figures = _Figures(family, probability)
    return sum(figures.product(mask) for mask in figures.sets)


def chance(family: Iterable[Iterable[str]], probability: Mapping[str, float], *, work: int = WORK) -> Bounded:
    """The probability that all events of some cut set occur: exact, or an interval where that takes too much `work`.

    Raises ValueError for an event without a probability, and for one outside 0 to 1.
    """
    figures = _Figures(family, probability)
    return _Expansion(figures, work).value(0, figures.sets)


def importances(
    family: Iterable[Iterable[str]], probability: Mapping[str, float], *, work: int = WORK
) -> tuple[Importance, ...]:
    """The importance of each event of the minimal cut sets, the most important by Fussell and Vesely first.

    The events share the work: that of the top event where it gives only an interval, else four times that. Raises
    ValueError as `chance` does.
    """
    figures = _Figures(family, probability)
    expansion = _Expansion(figures, work)
    top = expansion.value(0, figures.sets)
    if figures.names.bits:
        expansion.work = (4 if top.exact is not None else 1) * work // len(figures.names.bits)
    found = []
    for name, bit in figures.names.bits.items():
        with_it = tuple(mask for mask in figures.sets if mask & bit)
        if not with_it:
            continue  # only in sets that are not minimal
        part = expansion.value(0, with_it)
        share = None
        if top.upper > 0:
            # a part is no more than the whole: rounding must not say otherwise
            upper = min(1.0, part.upper / top.lower) if top.lower > 0 else 1.0
            share = Bounded(min(1.0, part.lower / top.upper), upper)
        found.append(Importance(name, share, expansion.value(bit, figures.sets)))
    return tuple(sorted(found, key=_most_important))


def _most_important(found: Importance) -> tuple[float, float]:
    return -(found.fussell_vesely.upper if found.fussell_vesely else 0), -found.birnbaum.upper


def over_mission(per_hour: float, hours: float) -> float:
    """The probability that a fault of that rate has arisen within a mission: 1 - exp(-rate t).

    The exponential law: a constant rate, no repair. Raises ValueError for a rate or time that is negative or no number.
    """
    for what, value in (("rate", per_hour), ("time", hours)):
        if not (isfinite(value) and value >= 0):
            raise ValueError(f"a {what} of {value!r} is none; expected a number from 0 up")
    return -expm1(-per_hour * hours)


def rates_of(scheme: Scheme) -> dict[str, float]:
    """The rates per hour that the scheme gives. Mistakes of installation have none: these arise at no hour."""
    return {name: rate.per_hour for name, rate in scheme.rates.items()}


def rated(family: Iterable[Iterable[str]], rates: Mapping[str, float]) -> tuple[Family, tuple[str, ...]]:
    """The cut sets of which every fault has a rate, and the faults of the others that have none, in their order."""
    known: list[tuple[str, ...]] = []
    missing: dict[str, None] = {}
    for cut_set in family:
        members = tuple(cut_set)
        without = [name for name in members if name not in rates]
        missing.update(dict.fromkeys(without))
        if not without:
            known.append(members)
    return tuple(known), tuple(missing)


def frequency(
    family: Iterable[Iterable[str]], rates: Mapping[str, float], hours: float, *, work: int = WORK
) -> Bounded:
    """How often per hour the top event begins, `hours` after all was well: its unconditional failure intensity.

    w(t) = sum over events i of B_i(t) * rate_i * exp(-rate_i t), where B_i is Birnbaum's importance while each event
    has arisen with probability 1 - exp(-rate t): the derivative of the top event's probability by the chain rule, as
    in Vesely's kinetic tree theory ("A time-dependent methodology for fault tree evaluation", 1970). Faults stay (no
    repair), so a top event begins once.
    Raises ValueError as `chance` and `over_mission` do, and for an event without a rate.
    """
    figures = _Figures(family, {name: over_mission(rate, hours) for name, rate in rates.items()})
    expansion = _Expansion(figures, work)
    lower = upper = 0.0
    for name, bit in figures.names.bits.items():
        decides = expansion.value(bit, figures.sets)
        density = rates[name] * (1 - figures.probability[bit])
        lower += decides.lower * density
        upper += decides.upper * density
    return Bounded(lower, upper)


def mean_frequency(
    family: Iterable[Iterable[str]], rates: Mapping[str, float], hours: float, *, work: int = WORK
) -> Bounded:
    """The mean of `frequency` over a mission: the probability of the top event at its end, divided by its hours.

    Raises ValueError as `frequency` does, and for a mission without length.
    """
    if hours == 0:
        raise ValueError("a mission of 0 h has no mean frequency; expected a longer one")
    found = chance(family, {name: over_mission(rate, hours) for name, rate in rates.items()}, work=work)
    return Bounded(found.lower / hours, found.upper / hours)


class _Figures:
    """A family made minimal, as integers, and each event's probability by its bit."""

    def __init__(self, family: Iterable[Iterable[str]], probability: Mapping[str, float]) -> None:
        self.names = Names()
        self.sets: Masks = tuple(sorted(smallest([self.names.mask(s) for s in family])))
        self.probability: dict[int, float] = {}
        for name, bit in self.names.bits.items():
            if name not in probability:
                raise ValueError(f"the event {name!r} has no probability")
            value = probability[name]
            if not 0 <= value <= 1:
                raise ValueError(f"the probability of {name!r} is {value!r}; expected a number from 0 to 1")
            self.probability[bit] = value

    def product(self, mask: int) -> float:
        """The probability that all events of the set occur."""
        return prod(self.probability[bit] for bit in _bits(mask))


def _bits(mask: int) -> Iterable[int]:
    while mask:
        low = mask & -mask
        yield low
        mask ^= low


def _union(parts: Iterable[float]) -> float:
    """The probability of at least one of independent events: a sum of positive terms, exact for small ones too."""
    return [*accumulate(parts, lambda a, b: a + b * (1 - a), initial=0.0)][-1]


class _SpentError(Exception):
    """The work allowed is used up."""


Key = tuple[int, Masks]  # an event's bit or 0, a family: Birnbaum's importance of the event, or the probability


@dataclass(slots=True)
class _Frame:
    """A family being expanded: by parts that share no event, or by the event `pivot`."""

    key: Key
    weight: float
    children: list[tuple[Key, float]]
    pivot: int = 0
    next: int = 0


class _Expansion:
    """Shannon's expansion with memory, its stack its own so that depth is no matter."""

    def __init__(self, figures: _Figures, work: int) -> None:
        self.figures = figures
        self.work = work
        self.spent = 0
        self.kept = 0
        self.known: dict[Key, Bounded] = {}

    def value(self, about: int, sets: Masks) -> Bounded:
        """The probability of the family, or Birnbaum's importance of the event `about` in it."""
        key = (about, sets)
        for least in CUT_OFF:
            if self.kept > 2 * self.work:
                self.known.clear()
                self.kept = 0
            self.spent = 0
            rough: dict[Key, tuple[Bounded, float]] = {}
            try:
                return self._expanded(key, least, rough)
            except _SpentError:
                continue
        return self._rough(key)

    def _expanded(self, root: Key, least: float, rough: dict[Key, tuple[Bounded, float]]) -> Bounded:
        """Depth first. `rough` holds what is known between bounds only, with the weight it was worked out for."""

        def found(key: Key, weight: float) -> Bounded | None:
            if key in self.known:
                return self.known[key]
            bounds, worked_for = rough.get(key, (None, 0.0))
            return bounds if bounds is not None and worked_for >= weight else None

        def learn(key: Key, bounds: Bounded, weight: float) -> None:
            if bounds.exact is None:
                rough[key] = (bounds, weight)
            else:
                self.known[key] = bounds
                self.kept += len(key[1])

        stack: list[_Frame] = []

        def enter(key: Key, weight: float) -> None:
            if weight <= least:
                rough[key] = (self._rough(key), weight)
                return
            self.spent += len(key[1])
            if self.spent > self.work:
                raise _SpentError
            simple = self._simple(key)
            if simple is not None:
                learn(key, Bounded(simple, simple), weight)
            else:
                stack.append(self._frame(key, weight))

        enter(root, 1.0)
        while stack:
            frame = stack[-1]
            if frame.next < len(frame.children):
                key, weight = frame.children[frame.next]
                frame.next += 1
                if found(key, weight) is None:
                    enter(key, weight)
                continue
            stack.pop()
            values = [found(key, weight) for key, weight in frame.children]
            learn(frame.key, self._combined(frame, [v for v in values if v is not None]), frame.weight)
        value = found(root, 1.0)
        assert value is not None
        return value

    def _simple(self, key: Key) -> float | None:
        """The value where it needs no expansion."""
        about, sets = key
        if about and not any(mask & about for mask in sets):
            return 0.0
        if not sets:
            return 0.0
        if len(sets) == 1:
            return self.figures.product(sets[0] & ~about)
        return None

    def _frame(self, key: Key, weight: float) -> _Frame:
        about, sets = key
        parts = _parts(sets)
        if len(parts) > 1:
            holding = [part for part in parts if about and any(mask & about for mask in part)]
            others = [part for part in parts if part not in holding]
            children: list[tuple[Key, float]] = [((about, part), weight) for part in holding]
            return _Frame(key, weight, children + [((0, part), weight) for part in others])
        pivot = _most_tied(sets, about)
        p = self.figures.probability[pivot]
        children = [((about, _given(sets, pivot)), weight * p)]
        children.append(((about, tuple(mask for mask in sets if not mask & pivot)), weight * (1 - p)))
        return _Frame(key, weight, children, pivot)

    def _combined(self, frame: _Frame, values: Sequence[Bounded]) -> Bounded:
        if frame.pivot:
            p = self.figures.probability[frame.pivot]
            one, none = values
            return Bounded(p * one.lower + (1 - p) * none.lower, p * one.upper + (1 - p) * none.upper)
        if frame.key[0]:
            decides, *others = values
            lower = decides.lower * prod(1 - v.upper for v in others)
            return Bounded(lower, decides.upper * prod(1 - v.lower for v in others))
        return Bounded(_union(v.lower for v in values), _union(v.upper for v in values))

    def _rough(self, key: Key) -> Bounded:
        """The two bounds without any expansion."""
        about, sets = key
        if not about:
            return self._between(sets)
        if not any(mask & about for mask in sets):
            return Bounded(0.0, 0.0)
        with_it = self._between(_given(sets, about))
        without = self._between(tuple(mask for mask in sets if not mask & about))
        deciding = self._between(tuple(mask & ~about for mask in sets if mask & about))
        return Bounded(max(0.0, with_it.lower - without.upper), deciding.upper)

    def _between(self, sets: Masks) -> Bounded:
        chances = {mask: self.figures.product(mask) for mask in sets}
        by_chance = sorted(sets, key=lambda m: (-chances[m], m))
        used = 0
        apart = []
        for mask in by_chance:
            if not mask & used:
                used |= mask
                apart.append(chances[mask])
        upper = _union(chances.values())
        return Bounded(min(max(_union(apart), self._first_of_them(by_chance, chances)), upper), upper)

    def _first_of_them(self, sets: Sequence[int], chances: Mapping[int, float]) -> float:
        """A bound from below: each set's chance to occur as the first of them, in the order given."""
        total = before = 0.0
        containing: dict[int, list[int]] = {}
        for mask in sets:
            earlier = dict.fromkeys(other for bit in _bits(mask) for other in containing.get(bit, ()))
            self.spent += len(earlier)
            shared = sum(self.figures.product(other & ~mask) - chances[other] for other in earlier)
            total += chances[mask] * max(0.0, 1 - before - shared)
            before += chances[mask]
            for bit in _bits(mask):
                containing.setdefault(bit, []).append(mask)
        return total


def _parts(sets: Masks) -> list[Masks]:
    """The family in parts that share no event."""
    parts: list[tuple[int, list[int]]] = []
    for mask in sets:
        events, members = mask, [mask]
        apart = []
        for part in parts:
            if part[0] & mask:
                events |= part[0]
                members += part[1]
            else:
                apart.append(part)
        parts = [*apart, (events, members)]
    return [tuple(sorted(members)) for _, members in parts]


def _most_tied(sets: Masks, about: int) -> int:
    """The event to expand by: in most sets, a set of one event more counting half, but not the event in question.

    Of equals the middle one. Both tend to cut a family in halves that share nothing.
    """
    largest = max(mask.bit_count() for mask in sets)
    count: dict[int, int] = {}
    for mask in sets:
        weight = 1 << (largest - mask.bit_count())
        for bit in _bits(mask & ~about):
            count[bit] = count.get(bit, 0) + weight
    most = max(count.values())
    equals = sorted(bit for bit, found in count.items() if found == most)
    return equals[len(equals) // 2]


def _given(sets: Masks, event: int) -> Masks:
    """The minimal family once the event has occurred."""
    shorter = [mask & ~event for mask in sets if mask & event]
    singles = sum(mask for mask in shorter if mask.bit_count() == 1)
    larger = [mask for mask in shorter if mask.bit_count() > 1]
    if 0 in shorter:
        return (0,)
    others = [
        mask
        for mask in sets
        if not mask & event and not mask & singles and not any(part & mask == part for part in larger)
    ]
    return tuple(sorted(shorter + others))
