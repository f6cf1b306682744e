"""What may be wrong: the healthy installation, each fault of the catalogue, each two of them; and which comes first."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import prod

from interlock.logic.faultset import FaultSet, scan_order
from interlock.plan.wrong import Wrong
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.order import LoopError

PAIR_SHARE = 0.01  # each fault beyond the first makes a candidate so much less likely; no source, a plain choice


@dataclass(frozen=True, slots=True)
class Candidate:
    """A set of what may be wrong, () for nothing at all, in the catalogue's order. `weight`: how likely beside others,
    of any sum; `rate`: failures per hour of all of it taken together, None where the scheme does not give each."""

    wrongs: tuple[Wrong, ...]
    weight: float = 1.0
    rate: float | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """The names of what is wrong."""
        return tuple(wrong.name for wrong in self.wrongs)


def singles(wrongs: Iterable[Wrong]) -> tuple[tuple[Wrong, ...], ...]:
    """Nothing wrong, then each thing alone."""
    return ((), *((wrong,) for wrong in wrongs))


def pairs(
    scheme: Scheme, wrongs: Sequence[Wrong], may: Callable[[Wrong, Wrong], bool] = lambda _, __: True
) -> Iterator[tuple[Wrong, ...]]:
    """Each two that can be there together: not one beside a common cause that brings it, not two exchanges of one part,
    not two exchanges of lines that close a loop within one scan. `may`: whether a pair is wanted."""
    for one, other in combinations(wrongs, 2):
        if not may(one, other):
            continue
        parts = [{s.name for s in w.single()} if isinstance(w, Fault) else {w.name} for w in (one, other)]
        if parts[0] & parts[1]:
            continue
        faults = [w for w in (one, other) if isinstance(w, Fault)]
        try:
            both = FaultSet.of(single for fault in faults for single in fault.single())
            if all(fault.exchanges_lines for fault in faults):
                scan_order(scheme, both)
        except (ValueError, LoopError):
            continue
        yield one, other


def ranked(scheme: Scheme, sets: Iterable[tuple[Wrong, ...]]) -> tuple[Candidate, ...]:
    """Fewer faults first. Among as many: by their rates, the highest first, where the scheme gives all of these; then
    the rest in the catalogue's order. Weights follow the same rule: those with rates share by them, the others count
    one each, beside an average one with rates."""
    by_size: dict[int, list[Candidate]] = {}
    for wrongs in sets:
        rates = [scheme.rates[w.name].per_hour for w in wrongs if w.name in scheme.rates]
        rate = prod(rates) if wrongs and len(rates) == len(wrongs) else None
        by_size.setdefault(len(wrongs), []).append(Candidate(wrongs, PAIR_SHARE ** max(0, len(wrongs) - 1), rate))
    found: list[Candidate] = []
    for size in sorted(by_size):
        rated = [c for c in by_size[size] if c.rate is not None]
        total = sum(c.rate or 0.0 for c in rated)
        for candidate in sorted(rated, key=lambda c: -(c.rate or 0.0)):
            share = (candidate.rate or 0.0) / total * len(rated) if total else 1.0
            found.append(Candidate(candidate.wrongs, candidate.weight * max(share, 1e-9), candidate.rate))
        found += [c for c in by_size[size] if c.rate is None]
    return tuple(found)
