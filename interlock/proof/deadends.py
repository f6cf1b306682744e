"""Dead ends: states that can be reached and from which a path can never be got running again.

For each path the question is asked with a person at the reset (who may press what resets) and without (those lines stay
off from then on); and, for a path that a rule starts, once more while that call stands: what calls for it is held where
it calls. A heater that waits for the warmth it should make is a dead end of the last kind.

Free is shown by a plan that surely works from all states that can be reached, taken roughly; a dead end by a real run
to a state from which, whatever comes, the path does not run. What neither shows is decided by going through all states
where they are few, and is undecided otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec import Struct

from interlock.logic.scan import Engine
from interlock.logic.stretch import run_for
from interlock.proof.cells import TRIPS
from interlock.proof.cone import Cone, Wants, cone_of, wants_of_rule
from interlock.proof.graph import Graph, graph
from interlock.proof.index import Index
from interlock.proof.recovery import Playing, Rules, Told, after, opposite, plans, played, settled
from interlock.proof.rough import YES, Rough, Roughly, closure, forked
from interlock.proof.sights import Scene, Sights
from interlock.proof.story import Stretch, UnrealError
from interlock.scheme.model import Scheme
from interlock.scheme.words import Signal, State

BUDGET = 60_000  # scans of the search through all states
MOST_SCANS = 30_000  # rough scans of plans for one question
MOST_PIECES = 128  # states that a cut may make of all states together


class Question(Struct, frozen=True):
    """A path, whether someone is at the reset, and (where the call is to stand) the rule that calls for it and what it
    and the rules beside it see."""

    path: str
    attended: bool
    called_by: str = ""
    cell: tuple[tuple[str, int], ...] = ()
    line: tuple[tuple[str, bool], ...] = ()

    @property
    def rules(self) -> Rules:
        """What may be done."""
        return Rules(dict(self.cell), dict(self.line), self.attended)


class Free(Struct, frozen=True):
    """From every reachable state the path can be got running again. `by`: how that is known."""

    path: str
    attended: bool
    called_by: str
    by: str


class DeadEnd(Struct, frozen=True):
    """`trace`: a run from power-up, replayed on the readable engine, to a state from which the path never runs again.
    `held_by`: rules that stay active whatever comes; of these, `manual` wait for a person."""

    path: str
    attended: bool
    called_by: str
    held_by: tuple[str, ...]
    manual: tuple[str, ...]
    trace: tuple[Stretch, ...]


class Undecided(Struct, frozen=True):
    """Neither shown. `covered`: what is known."""

    path: str
    attended: bool
    called_by: str
    covered: str


Ending = Free | DeadEnd | Undecided


def dead_ends(scheme: Scheme, *, budget: int = BUDGET) -> tuple[Ending, ...]:
    """For each path that is switched, attended and not; and once more for each rule that starts it."""
    index = Index(scheme)
    return tuple(ending for path in scheme.paths for ending in of_path(scheme, path, index=index, budget=budget))


def of_path(scheme: Scheme, path: str, *, index: Index | None = None, budget: int = BUDGET) -> Iterator[Ending]:
    """The endings of one path."""
    cone = cone_of(scheme, path)
    if not cone.chain:
        return  # nothing switches it
    judge = _Judge(index or Index(scheme), cone, budget)
    for attended in (True, False):
        yield judge.answer([Question(path, attended)])
    for caller in cone.starters:
        if caller in judge.own_starters:
            cells = list(judge.calls(caller))
            if cells:
                for attended in (True, False):
                    yield judge.answer([Question(path, attended, caller, cell, line) for cell, line in cells])


class _Judge:
    """All questions on one path."""

    def __init__(self, index: Index, cone: Cone, budget: int) -> None:
        self.scheme, self.cone, self.budget = index.scheme, cone, budget
        self.own_starters = [r for r in cone.starters if cone.path in self.scheme.rules[r].starts]
        self.roughly = Roughly(self.scheme, cone)
        self.sights = Sights(index, cone)
        self.playing = Playing(self.roughly)
        free = self.sights.free({}, {})
        assert free is not None, "some world is possible"
        first, _ = self.roughly.scan(self.roughly.start(), free)
        self.reach, _ = closure(self.roughly, first, free)
        self._graph: Graph | str | None = "not made"
        self._visited: list[tuple[Rough, tuple[Told, ...]]] | None = None

    def calls(self, rule: str) -> Iterator[tuple[tuple[tuple[str, int], ...], tuple[tuple[str, bool], ...]]]:
        """What may be seen while a starting rule's trip condition holds: codes of all that watch the same, or a line.
        Nothing where its call does not come from outside."""
        record = self.scheme.rules[rule]
        while record.watches is Signal.RULE and record.trips.test is True:
            record = self.scheme.rules[record.watched]
        if record.watches.numeric:
            beside = [r for r in self.sights.numeric if self.scheme.rules[r].watched == record.watched]
            cells = [codes for codes in self.sights.cells(beside) if codes[record.name] == TRIPS]
            for codes in sorted(cells, key=lambda c: -sum(code == TRIPS for code in c.values())):
                yield tuple(codes.items()), ()  # the plainest case first
        elif record.watches is Signal.LINE and record.watched in self.cone.external:
            assert isinstance(record.trips.test, bool)
            yield (), ((record.watched, record.trips.test),)

    def answer(self, questions: list[Question]) -> Ending:
        """The answer to all of these together: free only where each is."""
        asked = questions[0]
        free = Free(asked.path, asked.attended, asked.called_by, "a plan that works from every state")
        left = [q for q in questions if not self._free(q)]
        for question in left:
            found = self._dead(question)
            if found is not None:
                return found
        left = [q for q in left if not self._free_cut(q)]
        if not left:
            return free
        graph_ = self._all_states()
        if graph_ is None:
            covered = f"{len(questions) - len(left)} of {len(questions)} worlds are free" if asked.called_by else ""
            covered = (
                covered or f"{len(self._states())} states that can be reached were tried; none is known to be dead"
            )
            return Undecided(asked.path, asked.attended, asked.called_by, covered)
        for question in left:
            codes, lines = question.rules.held.items(), self._fixed(question.rules).items()
            able = [
                all(s.codes[r] == c for r, c in codes) and all(s.lines[n] is v for n, v in lines) for s in graph_.scenes
            ]
            state = graph_.stranded(able)
            if state is not None:
                return self._ending(question, state, graph_.story(state))
        said = f"all {len(graph_.parents)} states gone through"
        return Free(asked.path, asked.attended, asked.called_by, said)

    def _all_states(self) -> Graph | None:
        if isinstance(self._graph, str):
            self._graph = graph(self.roughly, self.sights, self.budget)
        return self._graph

    # --- free

    def _free(self, question: Question) -> bool:
        """Whether one plan works from everything at once."""
        tried = plans(self.sights, self.cone.wants, question.rules)
        return any(self.playing.works(self.reach, plan, frozenset()) for plan in tried)

    def _free_cut(self, question: Question) -> bool:
        """Whether some plan works from each state of the rules that depend on what they decide."""
        cut = self.cone.feedback
        pieces = list(forked(self.roughly, self.reach, cut)) if cut else []
        if not 0 < len(pieces) <= MOST_PIECES:
            return False
        tried = list(plans(self.sights, self.cone.wants, question.rules))
        ends = self.playing.scans + MOST_SCANS
        for piece in pieces:
            for plan in tried:
                if self.playing.scans > ends:
                    return False
                if self.playing.works(piece, plan, cut):
                    break
            else:
                return False
        return True

    # --- dead

    def _dead(self, question: Question) -> DeadEnd | None:
        """A real state, of those tried, from which nothing can make the path run."""
        rules = question.rules
        lines = self._fixed(rules)
        free = self.sights.free(rules.held, lines)
        if free is None:
            return None
        for state, story in self._states():
            _, ways = closure(self.roughly, state, free)
            if not ways.might_run:
                return self._ending(question, state, story)
        return None

    def _states(self) -> list[tuple[Rough, tuple[Told, ...]]]:
        """States that real runs come to: after power-up, after all has tripped, running, and with each rule tripped."""
        if self._visited is None:
            found: dict[Rough, tuple[Told, ...]] = {}
            for state, story in self._runs():
                found.setdefault(state, story)
            self._visited = list(found.items())
        return self._visited

    def _runs(self) -> Iterator[tuple[Rough, tuple[Told, ...]]]:
        wants = self.cone.wants
        worst, well = self._scene(opposite(wants)), self._scene(wants)
        start = self.roughly.start()
        begun: list[tuple[Rough, tuple[Told, ...]]] = [(start, ())]
        for scene in (well, worst):
            yield after(self.roughly, start, Told(scene, 1)), (Told(scene, 1),)
        for plan in plans(self.sights, wants, Rules({}, {}, attended=True)):
            running = next(((s, t) for s, ways, t in played(self.roughly, start, plan) if ways.surely_runs), None)
            if running:
                yield running
                begun.append(running)
                break
        trips = [self._scene({**wants, **wants_of_rule(self.scheme, r, True)}) for r in self.cone.rules]
        for state, story in begun:
            for scene in unlike([worst, *trips]):
                there, scans = settled(self.roughly, state, scene)
                came = (*story, Told(scene, scans))
                yield there, came
                back, scans = settled(self.roughly, there, well)
                yield back, (*came, Told(well, scans))

    def _fixed(self, rules: Rules) -> dict[str, bool]:
        """The lines that stay as they are."""
        nobody = {} if rules.attended else dict.fromkeys(self.cone.resets, False)
        return {**nobody, **rules.lines}

    def _scene(self, wants: Wants) -> Scene:
        scene = self.sights.scene(wants, {}, {})
        assert scene is not None, "nothing is held, so some world is possible"
        return scene

    def _ending(self, question: Question, state: Rough, story: tuple[Told, ...]) -> DeadEnd:
        rules = question.rules
        lines = self._fixed(rules)
        free = self.sights.free(rules.held, lines)
        assert free is not None
        _, ways = closure(self.roughly, state, free)
        held = tuple(r for r in self.scheme.rules if ways.active.get(r) == YES and r in self.cone.protectors)
        manual = tuple(r for r in held if self.scheme.rules[r].manual)
        if question.called_by:
            story = (*story, self._call(question, state))
        trace = rehearsed(self.scheme, self.sights, story)
        return DeadEnd(question.path, question.attended, question.called_by, held, manual, trace)

    def _call(self, question: Question, state: Rough) -> Told:
        """The world that calls, for long enough to see that nothing comes of it."""
        scene = self.sights.scene(self.cone.wants, question.rules.held, self._fixed(question.rules))
        assert scene is not None, "what is held can be"
        return Told(scene, settled(self.roughly, state, scene)[1])


def unlike(scenes: Iterable[Scene]) -> list[Scene]:
    """Each scene once."""
    found: list[Scene] = []
    for scene in scenes:
        if scene not in found:
            found.append(scene)
    return found


def rehearsed(scheme: Scheme, sights: Sights, story: tuple[Told, ...]) -> tuple[Stretch, ...]:
    """The story on the readable engine, with what each part came to. Raises UnrealError where the engine and the rough
    scan disagree on the rules."""
    engine = Engine(scheme)
    roughly, state = Roughly(scheme, sights.cone), Roughly(scheme, sights.cone).start()
    found: list[Stretch] = []
    for told in story:
        world, truth = sights.world(told.scene)
        seen = run_for(engine, world, told.scans)
        assert seen is not None
        state = after(roughly, state, told)
        for rule, machine in zip(roughly.rules, state.rules, strict=True):
            is_in = [s for s in machine if s is not None]
            at = list(State)[machine.index(is_in[0])]
            if seen.states[rule.name][0] is not at:
                raise UnrealError(f"{rule.name} is {seen.states[rule.name][0]} on the readable engine, expected {at}")
        found.append(Stretch(world, truth, told.scans, False, seen))
    return tuple(found)
