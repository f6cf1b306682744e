"""From coarse to fine: free every rule, and follow only those whose freedom makes the answer unreal.

Each search gives an upper bound of the longest bad run; its run, replayed on the whole cone, a lower one. Where they
meet the answer is exact, with a real run in hand. Otherwise the rules that could not be what the run took them for are
followed as well, and the search is made again. (Counterexample-guided refinement: Clarke et al. 2000.)
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple, TypeVar

from msgspec import Struct

from interlock.logic.faultset import FaultSet
from interlock.proof.cells import Limits
from interlock.proof.components import ACT, EVERYTHING, Abstraction, Settled, SlotKey, Use
from interlock.proof.goal import Goal
from interlock.proof.index import Index
from interlock.proof.replay import Player, Run, replay
from interlock.proof.rest import from_rest, rested
from interlock.proof.schedule import Stage, stages
from interlock.proof.search import PATIENCE, BudgetError, Longest, Node, Search
from interlock.proof.settle import Settler, together
from interlock.proof.system import FaultPlan, System
from interlock.records import replace
from interlock.scheme.words import LineForm, Mode, PowerUp, Signal

ENDLESS = 1 << 62
STATES = 40_000  # of the plain search
MOST_SUSPECTS = 4  # rules that may never let go, each tried by itself
SCANS = 150_000  # looked at for a real run: some seconds


class Answer(Struct, frozen=True):
    """Bounds of the longest bad run in scans (ENDLESS: it need not end); exact where they meet.

    `run`: the real run that gives the lower bound. `abstraction`: what the upper bound follows. `zones`: zones looked
    at in all. `stopped`: why the search ended without meeting, "" otherwise.
    """

    lower: int
    upper: int
    run: Run | None
    abstraction: Abstraction
    zones: int
    stopped: str = ""


class Kept(NamedTuple):
    """How a settling rule is kept in mind: rules alike in this are one signal."""

    uses: tuple[Use, ...]
    falls: bool
    least: int


class Decider:
    """Answers one goal under one fault set; what it has learnt to follow is kept from one question to the next.
    `tries`: the zones after which no more narrower systems are tried for a real run; None for as many as the budget."""

    def __init__(
        self, index: Index, goal: Goal, plan: FaultPlan, budget: int, states: int = STATES, tries: int | None = None
    ) -> None:
        self.index, self.goal, self.plan, self.budget, self.states = index, goal, plan, budget, states
        self.alike: Alike | None = None  # what systems of this goal under other plans share
        self.tries = budget if tries is None else min(tries, budget)
        self.abstraction = Abstraction()
        self._systems: dict[tuple[object, ...], System] = {}
        self.limits: Limits = ()  # limits of the goal's conditions, moved
        self.held: set[tuple[object, ...]] = set()  # abstractions under which the claim, as written, was shown to hold
        self._known: dict[tuple[object, ...], list[Node]] = {}
        self._beyond: dict[object, int] = {}  # narrower systems whose search did not end within so many zones
        self._rest: list[tuple[Player | None, Player | None]] = []
        self._kept: dict[str, Kept] = {}  # rules held to how they settle, as long as they do
        self._settlers: dict[tuple[Limits, bool], Settler] = {}
        self.fed_first = False  # of what may be followed next, what others watch before what acts on outputs
        self.by_contacts = True  # whether rules settle by what they see of contacts

    def go_on_from(self, other: Decider) -> None:
        """Take over what another decider of the same goal and plan has built and explored."""
        self._systems, self._rest, self._settlers = other._systems, other._rest, other._settlers

    def sought(self, allowed: int, scans: int, *, narrowly: bool) -> Run | None:
        """A real run with more bad scans than allowed, if one is found within so many scans looked at."""
        from interlock.proof.seek import seek

        return seek(self.full, allowed, scans, self.rest, narrowly=narrowly)

    def kept(self, allowed: int, scans: int) -> Run | None:
        """The same, by what a fault keeps of a world that was another."""
        from interlock.proof.keeping import seek_kept

        return None if self.rest is None else seek_kept(self.full, allowed, scans, self.rest)

    def swung(self, allowed: int, scans: int) -> Run | None:
        """The same by way of swings: each scan of what repeats itself while the world is held is tried for a change."""
        from interlock.proof.swing import seek_from_swing

        swinging = self._brought[1] or self._brought[0]
        return None if swinging is None else seek_from_swing(self.full, allowed, scans, swinging)

    @property
    def full(self) -> System:
        """The whole cone, every rule followed."""
        return self.system(EVERYTHING, probe=True)

    def system(self, abstraction: Abstraction, *, probe: bool = False) -> System:
        """The system of an abstraction, with the limits as they are now."""
        key = (abstraction.key(), probe)
        if key not in self._systems:
            made = self._systems[key] = System(self.index, self.goal, self.plan, abstraction, probe=probe)
            if self.alike is not None and not probe:
                self.alike.join(made)
        return self._systems[key].with_limits(self.limits)

    def _reached(self, search: Search, abstraction: Abstraction) -> list[Node]:
        """The states that can be reached. They do not depend on the conditions' limits, so they are found once; limits
        only ever move toward normal, so what was seen on the way can still be seen. Nor do they depend on how long
        rules take to settle: that binds bad runs alone."""
        settled = tuple(replace(s, scans=None) for s in abstraction.settled)
        key = replace(abstraction, settled=settled).key()
        if key not in self._known:
            self._known[key] = _searched(search, "reached", search.reachable)
        return self._known[key]

    def follow_everything(self) -> None:
        """Free no rule from now on."""
        self.abstraction = EVERYTHING

    def take_up(self, known: Abstraction) -> None:
        """Begin with what was followed when there were fewer faults, as far as it still stands under these: groups of
        rules that last (a power cycle may clear some at once), rules that settle, and rules that act with another."""
        installed = FaultSet(self.plan.installed)
        there = [tuple(r for r in g if not installed.has(Mode.OMITTED, r)) for g in known.groups]
        known = replace(known, groups=tuple(group for group in there if group and self._lasts(group)))
        if known.settled or known.shadows:
            reached = {key[1] for key in self.full.layout.place if key[0] == "active"}
            self._kept = {
                r: Kept(s.uses, s.falls, s.least)
                for s in known.settled
                for r in s.rules
                if r in reached and self.settler.least(r) >= s.least
            }
            still = {r: over for r, over in known.shadows.items() if over in self.settler.shadows(r)}
            known = self._settled(replace(known, shadows=still))
        self.abstraction = known

    @property
    def settler(self) -> Settler:
        """What is known of rules in bad runs, with the limits as they are now."""
        key = (self.limits, self.by_contacts)
        if key not in self._settlers:
            self._settlers[key] = Settler(self.full, self.limits, by_contacts=self.by_contacts)
        return self._settlers[key]

    def settling_on(self) -> list[list[SlotKey]]:
        """What decides how the rules settle that are held to it, a list of slots for each reading."""
        return self.settler.looks_at(self._kept)

    def answer(self, enough: int | None = None) -> Answer:
        """The longest bad run. `enough`: only whether it is longer than that matters."""
        if self._kept:
            self.abstraction = self._settled(self.abstraction)
        lower, upper, zones, tried = 0, ENDLESS, 0, 0
        best: Run | None = None
        while True:
            system = self.system(self.abstraction)
            search = Search(system, self.budget - zones)
            try:
                longest = _longest(search, self._reached(search, self.abstraction), enough)
            except BudgetError:
                from interlock.proof.explicit import longest_run

                zones += search.count
                explored = longest_run(self.full, self.states) if self.states else None
                if explored is not None:
                    exact = ENDLESS if explored.scans is None else explored.scans
                    return Answer(exact, exact, explored.run, EVERYTHING, zones)
                return Answer(lower, upper, best, self.abstraction, zones, "its budget of zones was used up")
            zones += search.count
            scans = ENDLESS if longest.scans is None else longest.scans
            cut_short = enough is not None and scans > enough
            if not cut_short:
                upper = min(upper, scans)
            if upper == 0 or (enough is not None and upper <= enough):
                return Answer(lower, upper, best, self.abstraction, zones)
            if self.abstraction.loose:
                self.abstraction = replace(self.abstraction, loose=frozenset())
                continue
            full = self.full
            run = realise(search, full, longest, enough=enough)
            tries = self._narrower(system) if upper < ENDLESS or all(d.both for d in run.deviations) else iter(())
            while True:
                reached = ENDLESS if run.endless else run.bad_run
                if reached > lower or best is None:
                    lower, best = max(lower, reached), run
                if lower > upper:
                    raise AssertionError(
                        f"a real run of {lower} bad scans, where at most {upper} were thought possible"
                    )
                if lower >= upper or (enough is not None and lower > enough):
                    return Answer(lower, upper, best, self.abstraction, zones)
                narrow = next(tries, None) if tried <= self.tries else None
                if narrow is None:
                    break
                found, looked = self._real_run(narrow, enough, min(400 + search.count // 4, 30 + 3 * search.count))
                tried += looked
                if found is not None:
                    found.deviations = run.deviations
                    run = found
            if not self._follow(run, system):
                return Answer(lower, upper, best, self.abstraction, zones, "its run could not be made real")

    def violated(self, answer: Answer, allowed: int, scans: int = SCANS) -> Answer:
        """An answer that leaves open whether bad runs get longer than allowed, with a real run that does, if one is
        found within so many scans looked at; else as it is."""
        if not answer.lower <= allowed < answer.upper:
            return answer
        run = self.swung(allowed, scans) or self.sought(allowed, scans, narrowly=False)
        return answer if run is None else replace(answer, lower=run.bad_run, run=run)

    def _narrower(self, system: System) -> Iterator[Abstraction]:
        """Narrower systems in which real runs may be found: rules whose freedom has two sides taken to stay clear; then
        one of each group of free rules followed and the others clear."""
        circuit = system.circuits[0]
        scheme = self.index.scheme
        exact = self.abstraction.exact
        split = {use.rule for use in circuit.free if use.rule in exact}
        loose = dict.fromkeys(use.rule for use in circuit.free if use.rule not in exact)
        loose.update(dict.fromkeys(rule for rule, _, _ in circuit.grouped))
        fixed = {rule: bool(scheme.rules[rule].starts and not scheme.rules[rule].blocks) for rule in loose}
        for use in circuit.free:
            sign = circuit.one_sign(use.name)
            if use.rule not in exact and sign in (1, -1):
                fixed[use.rule] = sign > 0
        fixed.update(dict.fromkeys(split, False))
        kept = {rule: uses for rule, uses in exact.items() if rule not in split}
        yield Abstraction(kept, fixed=fixed)
        groups: dict[str, list[str]] = {}
        for name, rules in circuit.united.items():
            if circuit.one_sign(name) == 0:
                groups[name] = rules
        for rule, _, comp in circuit.grouped:
            groups.setdefault(f"a{comp}", []).append(rule)
        for use in circuit.free:
            if use.rule not in exact and circuit.one_sign(use.name) == 0:
                name = circuit.alias.get(use.name, use.name)
                if use.rule not in groups.setdefault(name, []):
                    groups[name].append(use.rule)
        # one that may never let go again; one rule of one group to trip or clear at will; one of each; two of each,
        # where one has to let go and another to trip soon after
        ranked = [sorted(dict.fromkeys(rules), key=self._trouble) for rules in groups.values()]
        picks = [[r] for rules in ranked for r in rules if self._holds_on(r)][:MOST_SUSPECTS]
        picks += [[rules[0]] for rules in ranked]
        picks += [[r for rules in ranked for r in rules[:count]] for count in (1, 2)]
        tried: set[tuple[str, ...]] = set()
        for pick in picks:
            key = tuple(sorted(set(pick)))
            if not key or key in tried:
                continue
            tried.add(key)
            chosen = {
                one: frozenset(u.use for u in circuit.free if u.rule == one)
                | {u for r, u, _ in circuit.grouped if r == one}
                for one in key
            }
            yield self._closed({**kept, **chosen}, fixed)

    def _closed(self, exact: dict[str, frozenset[Use]], fixed: dict[str, bool]) -> Abstraction:
        """What the followed rules watch is followed as well, by the easiest of several; the others stay clear."""
        fixed = dict(fixed)
        todo = list(exact)
        while todo:
            watched = sorted(self._watched(todo.pop()), key=self._trouble)
            if watched and not any(ACT in exact.get(w, ()) for w in watched):
                exact[watched[0]] = exact.get(watched[0], frozenset()) | {ACT}
                todo.append(watched[0])
                fixed.update({w: False for w in watched[1:] if w not in exact})
        return Abstraction(exact, fixed={r: v for r, v in fixed.items() if r not in exact})

    def _holds_on(self, name: str) -> bool:
        """Whether nothing lets go of a rule once it is active in a bad run, as far as that run's world decides it."""
        found = self.settler.settling(name)
        return found is not None and found.falls and found.scans is None

    def _trouble(self, name: str) -> tuple[bool, bool, int]:
        """How hard it is to make a rule trip and clear at will."""
        rule = self.index.scheme.rules[name]
        return not rule.watches.numeric, rule.manual, rule.trips.delay.scans

    def _real_run(self, narrow: Abstraction, enough: int | None, budget: int) -> tuple[Run | None, int]:
        """The longest bad run of a narrower system made real: from power-up, and from rest where that is longer."""
        system, count = self.system(narrow), 0
        best: Run | None = None
        for begun in (None, self.rest) if self.rest else (None,):
            key = (narrow.key(), self.limits, begun is None)
            if self._beyond.get(key, 0) >= budget:
                continue
            search = Search(system if begun is None else from_rest(system, begun), budget)
            try:
                reached = _searched(search, "reached", search.reachable) if begun else self._reached(search, narrow)
                longest = _longest(search, reached, enough)
            except BudgetError:
                self._beyond[key] = budget + budget // 4  # a little more would not do either
                count += search.count
                break
            count += search.count
            if longest.node is not None:
                run = realise(search, self.full, longest, begun, enough)
                if best is None or (run.endless, run.bad_run) > (best.endless, best.bad_run):
                    best = run
                if run.endless or run.bad_run == longest.scans:
                    break
        return best, count

    @property
    def rest(self) -> Player | None:
        """The whole cone at rest."""
        return self._brought[0]

    @property
    def _brought(self) -> tuple[Player | None, Player | None]:
        """The whole cone at rest, or where it swings."""
        if not self._rest:
            self._rest.append(rested(self.full))
        return self._rest[0]

    def _follow(self, run: Run, system: System) -> bool:
        """Follow more; False where everything is followed already."""
        if self.abstraction.everything:
            return False
        exact = dict(self.abstraction.exact)
        if run.deviations and self._everywhere(exact, system):
            self.abstraction = self._settled(replace(self.abstraction, exact=exact))
            return True
        if self._settle(run, system):
            return True
        # cheapest first, as a rule: uses of rules that are followed anyway, inputs that act one way, rules that watch
        # other parts, then whole groups, then rule by rule
        known = {d for d in run.deviations if d.rule in exact}
        plain = {d for d in run.deviations if not d.both}
        watching = {d for d in run.deviations if all(map(self._interlocks, self._beside(d.rule, system)))}
        lines = {d for d in plain if not self.index.scheme.rules[d.rule].watches.numeric}
        groups = self.abstraction.groups
        if self.fed_first:
            known = {d for d in run.deviations if d.use == ACT} or known
        if run.deviations and not known and not plain and not watching:
            more = self._groups(run, system)
            if more:
                self.abstraction = replace(self.abstraction, groups=groups + more)
                return True
        for rule, use, _, _ in sorted(known or lines or plain or watching or run.deviations):
            exact[rule] = exact.get(rule, frozenset()) | {use}
        for rule in list(exact):
            for watched in self._watched(rule):
                if watched in exact:
                    exact[watched] |= {ACT}
        if exact == self.abstraction.exact:
            self.abstraction = EVERYTHING
        else:
            kept = tuple(g for g in groups if not set(g) & set(exact))
            shadows = {r: over for r, over in self.abstraction.shadows.items() if r not in exact}
            self.abstraction = self._settled(Abstraction(exact, groups=kept, shadows=shadows))
        return True

    def _everywhere(self, exact: dict[str, frozenset[Use]], system: System) -> bool:
        """What is followed anyway and watches other parts is followed wherever it acts, which costs no component more;
        whether anything is new in that."""
        watching = {rule for rule in exact if self._interlocks(rule) or self._reset_from_within(rule)}
        new = [u for c in system.circuits for u in c.free if u.rule in watching]
        for use in new:
            exact[use.rule] |= {use.use}
        return bool(new)

    # --- rules that settle

    def _settle(self, run: Run, system: System) -> bool:
        """Free rules that were taken to act longer than they can: hold them to how a bad run lets them settle, and to
        the rules they act with; whether any was."""
        settled = self._kept
        present = {use.rule for c in system.circuits for use in c.free}
        present.update(r for c in system.circuits for r, _, _ in c.grouped)
        grown, shadows = dict(settled), dict(self.abstraction.shadows)
        wrong = sorted({d.rule for d in run.deviations if d.active and self.abstraction.whole(d.rule)})
        for rule in wrong:
            if self.abstraction.group(rule):
                continue
            found = self.settler.settling(rule)
            if found is None or not (found.falls or found.scans is not None):
                continue
            places = sorted({use.use for use in system.circuits[0].free if use.rule == rule})
            grown.setdefault(rule, Kept(tuple(places), found.falls, 0))
            over = [r for r in self.settler.shadows(rule) if r in present and self.abstraction.whole(r)]
            if over and rule not in _followed(over[0], shadows):
                shadows.setdefault(rule, over[0])
        nothing_new = grown == settled and shadows == self.abstraction.shadows
        if nothing_new and {d.rule for d in run.deviations} <= set(settled):
            grown.update(self._lasting(settled))
            nothing_new = grown == settled
        if nothing_new:
            return False
        self._kept = grown
        self.abstraction = self._settled(replace(self.abstraction, shadows=shadows))
        return True

    def _lasting(self, settled: Mapping[str, Kept]) -> dict[str, Kept]:
        """The rules that settle last of those not yet held to act for a least time, held to that as well."""
        loose = {r: k for r, k in settled.items() if not k.least and r not in self.abstraction.shadows}
        least = {r: self.settler.least(r) for r in loose}
        longest = max((r for r in loose if least[r]), key=self._scans, default=None)
        if longest is None:
            return {}
        return {
            r: k._replace(least=least[longest])
            for r, k in loose.items()
            if least[r] >= least[longest] and k == loose[longest]
        }

    def _scans(self, rule: str) -> int:
        found = self.settler.settling(rule)
        return ENDLESS if found is None or found.scans is None else found.scans

    def _settled(self, abstraction: Abstraction) -> Abstraction:
        """The abstraction with the rules kept in mind settling, those kept alike as one; without what is followed
        exactly, and what does not settle now that limits have moved."""
        rules = self._kept
        groups: dict[Kept, list[str]] = {}
        for rule in self.index.scheme.rules:
            if rule in rules and rule not in abstraction.exact and self.settler.settling(rule) is not None:
                groups.setdefault(rules[rule], []).append(rule)
        settled = []
        for (uses, falls, least), names in groups.items():
            found = together([s for s in map(self.settler.settling, names) if s is not None])
            settled.append(Settled(tuple(names), uses, found.scans, falls and found.falls, least))
        return replace(abstraction, settled=tuple(settled))

    def _watched(self, name: str) -> tuple[str, ...]:
        """The rules a rule watches, through a line or not."""
        rule = self.index.scheme.rules[name]
        if rule.watches is Signal.RULE:
            return (rule.watched,)
        return self.index.scheme.lines[rule.watched].rules if rule.watches is Signal.LINE else ()

    def _interlocks(self, name: str) -> bool:
        """Whether a rule watches other parts of the scheme (a path, a rule, a contact, a sent line)."""
        rule = self.index.scheme.rules[name]
        if rule.watches is Signal.LINE:
            return self.index.scheme.lines[rule.watched].form is not LineForm.EXTERNAL
        return rule.watches in (Signal.PATH, Signal.RULE)

    def _reset_from_within(self, name: str) -> bool:
        """Whether what resets a rule, or overrides it, is wired to where something of the scheme's own is told."""
        rule, lines = self.index.scheme.rules[name], self.index.scheme.lines
        faults = self.full.fault_sets[0]
        read = [faults.line_source(self.index.scheme, rule.unit, n) for n in (rule.reset_by, rule.overridden_by) if n]
        return any(lines[n].form is not LineForm.EXTERNAL for n in read)

    def _beside(self, name: str, system: System) -> list[str]:
        """The free rules that share an input with this one."""
        return next((rules for rules in system.circuits[0].united.values() if name in rules), [name])

    def _groups(self, run: Run, system: System) -> tuple[tuple[str, ...], ...]:
        """The deviating free rules that can be followed as groups."""
        circuit = system.circuits[0]
        deviating = {d.rule for d in run.deviations}
        taken = set(self._kept).union(*self.abstraction.groups)
        found: list[tuple[str, ...]] = []
        for name, rules in circuit.united.items():
            worth = min(self.index.scheme.rules[r].clears.delay.scans for r in rules) > 0
            free = deviating & set(rules) and not taken & set(rules)
            if free and worth and circuit.one_sign(name) == 0 and self._lasts(rules):
                found.append(tuple(rules))
        return tuple(found)

    def _lasts(self, rules: Sequence[str]) -> bool:
        """Whether each of these rules, once active, is so for its clear delay: a power cycle may clear some at once."""
        records, cycling = [self.index.scheme.rules[r] for r in rules], self.plan.cycling()
        return all(r.power_up is not PowerUp.CLEAR or r.unit not in cycling for r in records)


def _followed(rule: str, shadows: Mapping[str, str]) -> list[str]:
    """A rule, the one it acts only with, the one that acts only with, and so on."""
    found = [rule]
    while found[-1] in shadows:
        found.append(shadows[found[-1]])
    return found


class Alike:
    """Systems of one goal under several plans, those of equal identity sharing what was found out about them: many
    faults make the same of a cone."""

    MOST = 48  # that are kept

    def __init__(self) -> None:
        self._known: dict[tuple[object, ...], System] = {}

    def join(self, system: System) -> None:
        """Have a new system share with one that is alike, if one is kept; else keep it."""
        identity = system.identity()
        known = self._known.pop(identity, None)
        if known is not None:
            system.go_on_from(known)
        elif len(self._known) >= self.MOST:
            del self._known[next(iter(self._known))]
        self._known[identity] = known or system


R = TypeVar("R")


def _searched(search: Search, what: object, search_for: Callable[[], R]) -> R:
    """What a search finds, or found before in a system alike: the same, as long as its budget suffices for it."""
    memo, key = search.system.memo, (search.system.start, what)
    left = search.budget - search.count
    if key in memo:
        found, zones = memo[key]
        if zones + PATIENCE <= left:
            search.count += zones
            return found  # type: ignore[return-value]
    beyond = memo.get(("beyond", key))
    if beyond is not None and left <= beyond[1]:
        search.count = search.budget + 1
        raise BudgetError
    before = search.count
    try:
        result = search_for()
    except BudgetError:
        memo["beyond", key] = (None, left)
        raise
    memo[key] = (result, search.count - before)
    return result


def _longest(search: Search, reached: list[Node], enough: int | None) -> Longest:
    """The longest bad run from these states, kept with them."""
    found, _ = _searched(search, ("longest", id(reached), enough), lambda: (search.longest(reached, enough), reached))
    return found


def realise(
    search: Search, full: System, longest: Longest, begun: Player | None = None, enough: int | None = None
) -> Run:
    """The search's longest run on the whole cone, from power-up or where it was begun; no further than `enough`."""
    assert longest.node is not None
    path = longest.node.path()
    if longest.scans is not None:
        return replay(search.system, full, stages(search, path, longest.scans), begun=begun, enough=enough)
    if longest.loop is None:
        stay = frozenset({len(path) - 1})
        return replay(search.system, full, stages(search, path, 0), stay, begun=begun, enough=enough)
    begins = path.index(longest.loop)
    round_ = path[begins + 1 :]
    rounds = 4
    long_path = [*path, *(node for _ in range(rounds) for node in round_)]
    marks = frozenset(len(path) - 1 + k * len(round_) for k in range(rounds + 1))
    plan: list[Stage] = stages(search, long_path, 0)
    return replay(search.system, full, plan, marks, begun=begun, enough=enough)
