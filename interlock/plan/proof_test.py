"""For each fault the shortest test that shows it: fewest steps first, then the least waiting."""

from __future__ import annotations

import pickle
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from interlock.logic.compiled import compile_scheme
from interlock.logic.faultset import FaultSet
from interlock.plan.beginnings import Coming, Rest, Start, comings, rested, starts, worlds_of
from interlock.plan.columns import Installation, State, play
from interlock.plan.confirm import Manner, Replays
from interlock.plan.reach import touched
from interlock.plan.search import Candidate, Ground, Move, Positions, Search, step
from interlock.plan.side_by_side import Effort, NotComparedError, SideBySide
from interlock.plan.sights import Ease, Sight, sights
from interlock.plan.stimuli import LOOK_US, SLOW_US, Stimuli
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.units import MICRO
from interlock.scheme.words import Mode, Part
from interlock.split import can_split, in_order, split

STEPS = 4  # no longer test is looked for
MOST = 40_000  # scenarios of one step, over all installations run side by side
PROOF = 2_000  # zones for the proof that no test shows a fault, which none of one step does
TRIED = 50  # candidates replayed on the readable engine before the next number of steps is looked at

# An element with another error is not tested by putting something in its place; an event leaves nothing to look for.
UNSEEN = frozenset({Mode.DRIFTED, Mode.MISPLACED, Mode.POWER_CYCLED})


@dataclass(frozen=True, slots=True)
class ProofTest:
    """`moves` from `start`; then `sight` shows `healthy` without the fault and the opposite with it. `coming`: the ways
    in which the fault may have come that are shown by it; where `others`, it may also have come in ways that differ
    from a healthy installation at rest already."""

    fault: str
    start: Start
    moves: tuple[Move, ...]
    sight: Sight
    healthy: bool
    coming: tuple[Coming, ...]
    others: bool


@dataclass(frozen=True)
class ProofTests:
    """`tests`: the shortest test of each fault. `searched`: for each fault without one, the number of steps up to which
    none shows it. `alike`: those that are proved to change nothing that can be seen, in any run, while there is no
    other fault; `briefly`: those that are proved to change what can be seen for no more than so many scans on end, too
    short for a look. A fault in none of them is of a mode that such tests do not show (UNSEEN). `rest`: how a healthy
    installation is brought to rest; () where it never comes there."""

    stimuli: Stimuli
    rest: tuple[Move, ...]
    tests: Mapping[str, ProofTest]
    searched: Mapping[str, int]
    alike: tuple[str, ...]
    briefly: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Brief:
    """What can be seen differs for no more than so many scans on end, whatever is given, where the fault has been there
    since before power-up; a test has to show it whenever it came."""

    scans: int


Found = ProofTest | Brief | int  # a test; the proof that there is none; the number of steps up to which there is none


def proof_tests(
    scheme: Scheme, faults: Iterable[Fault], *, steps: int = STEPS, most: int = MOST, jobs: int = 1
) -> ProofTests:
    """The shortest test of each fault, of up to `steps` steps. A step with more than `most` scenarios is not looked at:
    `searched` says how far the search came. `jobs`: processes that share the faults; what is found is the same. Raises
    TooLargeError where the scheme's numbers need more than 64 bits."""
    planner = _Planner(scheme, steps, most)
    asked = [fault for fault in faults if not all(single.mode in UNSEEN for single in fault.single())]
    tests: dict[str, ProofTest] = {}
    searched: dict[str, int] = {}
    briefly: dict[str, int] = {}
    for fault, found in zip(asked, _each(planner, asked, jobs), strict=True):
        if isinstance(found, ProofTest):
            tests[fault.name] = found
        elif isinstance(found, Brief):
            briefly[fault.name] = found.scans
        else:
            searched[fault.name] = found
    alike = tuple(name for name, scans in briefly.items() if not scans)
    briefly = {name: scans for name, scans in briefly.items() if scans}
    return ProofTests(planner.stimuli, planner.replays.to_rest(), tests, searched, alike, briefly)


def _each(planner: _Planner, faults: Sequence[Fault], jobs: int) -> Iterator[Found]:
    """What is found for each fault, in order."""
    if jobs == 1 or len(faults) <= jobs:
        yield from map(planner.test, faults)
        return
    if can_split():
        yield from in_order(split(lambda number: planner.test(faults[number]), range(len(faults)), jobs))
        return
    from joblib import Parallel, delayed

    work = pickle.dumps(planner.scheme, protocol=pickle.HIGHEST_PROTOCOL)
    pool = Parallel(n_jobs=jobs, backend="loky", return_as="generator", batch_size=1)
    yield from pool(delayed(_elsewhere)(work, planner.steps, planner.most, fault) for fault in faults)


def _elsewhere(work: bytes, steps: int, most: int, fault: Fault) -> Found:
    return _planner(work, steps, most).test(fault)


@lru_cache(maxsize=1)
def _planner(work: bytes, steps: int, most: int) -> _Planner:
    """What a process keeps from one fault to the next."""
    scheme = pickle.loads(work)  # made by this program, in the process that handed out the work
    assert isinstance(scheme, Scheme)
    return _Planner(scheme, steps, most)


class _Planner:
    """What the searches for all faults share."""

    def __init__(self, scheme: Scheme, steps: int, most: int) -> None:
        self.scheme, self.steps, self.most = scheme, steps, most
        self.stimuli = Stimuli(scheme)
        self.ground = Ground(self.stimuli)
        self.looked_at = sights(scheme)
        self.compiled = compile_scheme(scheme)
        self.rest = Rest(self.stimuli, self.compiled, self.looked_at)
        self.look = -(-LOOK_US // scheme.scan_us)
        self.replays = Replays(self.stimuli, self.look, (Manner(-1), Manner(1, -(-SLOW_US // scheme.scan_us))))

    def test(self, fault: Fault) -> Found:
        """The shortest test, or what is known without one."""
        faults = FaultSet.of(fault.single())
        compiled = compile_scheme(self.scheme, [fault])
        touched_ = touched(self.compiled, compiled, self.looked_at, faults)
        if not touched_:
            return Brief(0)
        healthy, faulty = (
            Installation(self.scheme, present, program, touched_, self.stimuli.external)
            for present, program in ((FaultSet(), self.compiled), (faults, compiled))
        )
        source = [list(self.scheme.sensors).index(faults.source(Part.SENSOR, name)) for name in self.scheme.sensors]
        positions = Positions(self.ground, healthy.given | faulty.given, source)
        begun = [b for s in starts(fault) if (b := self._begun(s, fault, healthy, faulty)) is not None]
        at_once = next((found for b in begun if (found := self._at_once(b, fault, healthy, faulty))), None)
        if at_once is not None:
            return at_once
        searches = [(b, self._search(b, healthy, faulty, positions)) for b in begun]
        for depth in range(1, self.steps + 1):
            if depth == 2 and (brief := self._brief(fault)) is not None:
                return brief
            if not searches or any(search.wider(self.most) for _, search in searches):
                return depth - 1
            stepped = step([search for _, search in searches], last=depth == self.steps)
            found = self._best(fault, list(zip((b for b, _ in searches), stepped, strict=True)))
            if found is not None:
                return found
        return self.steps

    def _brief(self, fault: Fault) -> Brief | None:
        """The proof that no test shows a fault, where one is soon found."""
        try:
            longest = SideBySide(self.scheme, fault, Effort(zones=PROOF)).longest(self.look - 1)
        except NotComparedError:
            return None
        return None if longest.scans is None else Brief(longest.scans)

    def _begun(self, start: Start, fault: Fault, healthy: Installation, faulty: Installation) -> _Begun | None:
        """The states in which tests begin; None where an installation never comes to rest."""
        if start is Start.POWER_UP:
            ways = {Coming(True): faulty.started(1)}
            return _Begun(start, healthy.started(1), ways, ways)
        at_rest = rested(self.stimuli, healthy, None, self.rest)
        every = {how: rested(self.stimuli, faulty, how, self.rest) for how in comings(self.stimuli, fault)}
        known = {how: state for how, state in every.items() if state is not None}
        if at_rest is None or len(known) < len(every):
            return None
        hidden = {how: s for how, s in known.items() if self._at_rest(healthy, faulty, at_rest, [s]) is None}
        return _Begun(start, at_rest, known, hidden or known)

    def _at_rest(
        self, healthy: Installation, faulty: Installation, state: State, others: Sequence[State]
    ) -> Sight | None:
        """What tells all these from a healthy installation at rest."""
        worlds = worlds_of(self.stimuli, [self.stimuli.rest], [None])
        count = 1 + len(others)
        played = play([healthy, *[faulty] * len(others)], [state, *others], worlds, self.look, [True] * count)
        for since, sight in zip(played.since[:, 0], played.sight[:, 0], strict=True):
            if since == 1:
                return healthy.looked_at[int(sight)]
        return None

    def _at_once(self, begun: _Begun, fault: Fault, healthy: Installation, faulty: Installation) -> ProofTest | None:
        """A test without a step: at rest one sight tells them all."""
        if begun.start is Start.POWER_UP:
            return None
        sight = self._at_rest(healthy, faulty, begun.healthy, list(begun.ways.values()))
        if sight is None:
            return None
        return self._best(fault, [(_Begun(begun.start, begun.healthy, begun.ways, begun.ways), [Candidate((), sight)])])

    def _search(self, begun: _Begun, healthy: Installation, faulty: Installation, positions: Positions) -> Search:
        columns = _distinct(begun.hidden)
        search = Search(
            [healthy, *[faulty] * len(columns)], positions, self.look, first_step=begun.start is Start.POWER_UP
        )
        search.begin([begun.healthy, *columns])
        return search

    def _best(self, fault: Fault, found: Sequence[tuple[_Begun, Sequence[Candidate]]]) -> ProofTest | None:
        """The first candidate that the readable engine confirms: those without a meter first, then those that leave the
        supply alone, then those with the least waiting to the second, paths before what is told of them."""
        order = {start: i for i, start in enumerate(Start)}
        second = -(-MICRO // self.scheme.scan_us)
        every = [
            ((c.ease is Ease.METER, order[begun.start], -(-c.scans // second), c.ease.value, c.scans), c, begun)
            for begun, several in found
            for c in several
        ]
        for _, candidate, begun in sorted(every, key=lambda entry: entry[0])[:TRIED]:
            moves, sight, ways = candidate.moves, candidate.sight, tuple(begun.hidden)
            healthy = self.replays.shows(fault, ways, begun.start, moves, sight)
            if healthy is not None:
                others = len(begun.hidden) < len(begun.ways)
                return ProofTest(fault.name, begun.start, moves, sight, healthy, ways, others)
        return None


@dataclass(frozen=True)
class _Begun:
    """States in which tests of a fault begin: `healthy`, and for each way it may have come; `hidden`: those that do not
    show there already."""

    start: Start
    healthy: State
    ways: Mapping[Coming, State]
    hidden: Mapping[Coming, State]


def _distinct(states: Mapping[Coming, State]) -> list[State]:
    """Each state once."""
    found: list[State] = []
    for state in states.values():
        if not any(all(np.array_equal(a, b) for a, b in zip(state, known, strict=True)) for known in found):
            found.append(state)
    return found
