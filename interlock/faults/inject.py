"""The whole study: every claim under every set of faults up to a size, and what each fault alone leads to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import comb

from interlock.faults.alarms import alarms_raised
from interlock.faults.court import batches
from interlock.faults.cutsets_search import Ask, CutSets, CutSetSearch
from interlock.faults.effects import FaultEffect, effects
from interlock.faults.harmless import harmless
from interlock.faults.journal import Journal
from interlock.faults.parallel import Bench
from interlock.faults.reach import reach
from interlock.faults.signs import sensors_lost
from interlock.faults.symmetry import mirrors
from interlock.proof.index import Index
from interlock.scheme.model import Scheme

BATCH = 24  # sets judged between two lines of the journal: some tenths of a second
ZONES = 1_500  # that a batch may take, by what its claim took with fewer faults: where that is hard, fewer go together

Progress = Callable[[int, int], None]  # sets judged, sets known to be wanted


@dataclass(frozen=True, slots=True)
class Study:
    """What was found. `effects`: one for each fault of the catalogue, in its order. `cut_sets`: one for each claim, in
    the scheme's order. `sets`: how many pairs of a claim and a set of up to `size` faults there are; `judged`: how many
    of them had to be judged. `interrupted`: it was stopped before it was done."""

    size: int
    effects: tuple[FaultEffect, ...]
    cut_sets: tuple[CutSets, ...]
    sets: int
    judged: int
    interrupted: bool

    @property
    def waiting(self) -> int:
        """Sets known to be wanted and not judged."""
        return sum(found.waiting for found in self.cut_sets)


def inject(
    scheme: Scheme,
    size: int,
    bench: Bench,
    *,
    journal: Journal | None = None,
    progress: Progress | None = None,
    aside: Callable[[], None] | None = None,
) -> Study:
    """Judge every claim under every set of up to `size` faults. What `journal` knows is not judged again, and what is
    judged is kept in it. `aside`: done here once, while the first faults are judged elsewhere. An interruption
    (KeyboardInterrupt) ends the judging; the study then says what is missing."""
    mirrored = mirrors(scheme)
    claims = range(len(scheme.claims))
    first = CutSetSearch(scheme.faults, size)
    searches = {claim: CutSetSearch(scheme.faults, size, first) for claim in claims if claim not in mirrored}
    width = [len(reach(scheme, claim)) for claim in scheme.claims]
    interrupted = False
    index = Index(scheme)
    alarms: Mapping[str, tuple[str, ...]] = {}
    unfelt: Iterable[str] = ()

    def meanwhile() -> None:
        nonlocal alarms, unfelt
        if aside is not None:
            aside()
        alarms, unfelt = alarms_raised(index), harmless(index)

    try:
        _judge_all(searches, width, bench, journal, progress, meanwhile)
    except KeyboardInterrupt:
        interrupted = True
    results = {claim: search.result() for claim, search in searches.items()}
    results |= {claim: mirror.mirrored(results[mirror.claim]) for claim, mirror in mirrored.items()}
    found = tuple(results[claim] for claim in claims)
    lost = {name: sensors_lost(scheme, fault) for name, fault in scheme.faults.items()}
    said = effects(scheme, found, lost, alarms, unfelt)
    sets = len(scheme.claims) * sum(comb(len(scheme.faults), k) for k in range(size + 1))
    return Study(size, said, found, sets, sum(c.judged for c in found), interrupted)


def _judge_all(
    searches: Mapping[int, CutSetSearch],
    width: Sequence[int],
    bench: Bench,
    journal: Journal | None,
    progress: Progress | None,
    meanwhile: Callable[[], None],
) -> None:
    """One level of all claims after the other: what one claim wants next does not depend on another. `width`: at how
    many parts each claim can look, by which those likely to be hard are begun with. `meanwhile`: what is done here
    once, while the first faults are judged elsewhere."""
    judged = 0
    while any(search.wanted for search in searches.values()):
        for claim, search in searches.items():
            while journal is not None:
                known = list(journal.answered(claim, search.wanted))
                if not known:
                    break
                judged += len(known)
                search.told(known)
        asked = {claim: search.wanted for claim, search in searches.items()}
        work = [b for claim, asks in asked.items() for b in batches(claim, asks, _size(asks))]
        work.sort(key=lambda batch: (_zones(batch.asks), width[batch.claim]), reverse=True)
        total = judged + sum(len(batch.asks) for batch in work)
        for answers in bench.answers(work):
            if journal is not None:
                journal.note(answers)
            searches[answers.claim].told(answers.told)
            judged += len(answers.told)
            if progress is not None:
                progress(judged, total)
            if any(ask.faults for ask in work[0].asks):
                meanwhile()
                meanwhile = _nothing
    meanwhile()


def _nothing() -> None:
    pass


def _zones(asks: Sequence[Ask]) -> int:
    """What their claim took with fewer faults: what is hard is begun with, so that no process ends long after the
    others."""
    return max((ask.before.zones for ask in asks if ask.before), default=0)


def _size(asks: Sequence[Ask]) -> int:
    """How many of them go together."""
    return max(2, min(BATCH, ZONES // max(1, _zones(asks))))
