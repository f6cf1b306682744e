"""Which loops are tried: each single change, values that tell a mistyped limit, the same in other contexts.

Each family is tried with what the ones before do not tell. Then loops are tried that do for two of the best choice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np

from interlock.logic.program import Setting
from interlock.plan.chains import tails
from interlock.plan.doubts import Spot
from interlock.plan.hypotheses import Hypothesis, between
from interlock.plan.loops import Input, Loop, Run, Trials, any_of
from interlock.plan.sights import Bools
from interlock.plan.wrong import Slip, usual
from interlock.scheme.units import MICRO

MOMENT_S = 5  # for so long a line is let go


class Candidates:
    """The loops tried so far."""

    def __init__(self, trials: Trials, progress: Callable[[str], None]) -> None:
        self.trials, self.stimuli, self.home = trials, trials.stimuli, trials.home
        self.progress = progress
        self.runs: dict[Loop, Run] = {}
        self._tried: set[Loop] = set()
        at_end = [phase.found[phase.looks.index(phase.settles)] for phase in trials.begun.phases]
        self.anyway: Bools = any_of(at_end)  # told on the way to rest, by looks that cost no step

    @property
    def hypotheses(self) -> Sequence[Hypothesis]:
        """What is to be told from a healthy installation; the first is the healthy one."""
        return self.trials.hypotheses

    @property
    def found(self) -> Bools:
        """What any of the loops tells."""
        return any_of([self.trials.begun.found, *(run.found for run in self.runs.values())])

    @property
    def wanted(self) -> list[int]:
        """The hypotheses that it takes a loop to tell."""
        return [i for i in range(1, len(self.hypotheses)) if not self.anyway[i]]

    def missing(self) -> list[int]:
        """The hypotheses that none of them tells."""
        return [i for i in np.flatnonzero(~self.found).tolist() if i]

    def add(self, loops: Iterable[Loop], which: Sequence[int]) -> None:
        """Try these loops, for these hypotheses."""
        new = [x for x in dict.fromkeys(loops) if x not in self._tried and all(map(self.trials.doubts.usable, x))]
        self._tried.update(new)
        for run in self.trials.run(new, which) if which else ():
            if run.found.any():
                self.runs[run.loop] = run

    def families(self) -> None:
        """All families, one after the other."""
        singles = self.singles()
        stairs = self._stairs(singles, self.wanted)
        self.progress(f"trying {len(singles)} single changes and {len(stairs)} flights of steps beside limits")
        self.add([(s,) for s in singles], self.wanted)
        self.add(stairs, self.wanted)
        contexts = [s for s in singles if s.given == self.home.given]
        for context in contexts:
            missing, before = self.missing(), set(self.runs)
            self.progress(f"{len(self.hypotheses) - 1 - len(missing)} of {len(self.hypotheses) - 1} told")
            self.add([(joined(self.home, context, s),) for s in singles], missing)
            flights = self._stairs(singles, self.missing())
            self.add([turned(self.home, context, loop) for loop in flights], self.missing())
            missing = self.missing()
            self.add([(joined(self.home, context, s), context) for s in singles if s != context], missing)
            self._whole(context, stairs, [run for loop, run in self.runs.items() if loop not in before])
        missing, before = self.missing(), set(self.runs)
        self.add(self._pairs(singles, contexts), missing)
        for context in contexts:
            new = [run for loop, run in self.runs.items() if loop not in before and loop[-1].lines == context.lines]
            self._whole(context, stairs, new)
        self._apart(singles, contexts)
        self._restless(singles, contexts)
        self._doubtful(singles, contexts)
        self._while_short(singles, contexts)

    def _restless(self, singles: Sequence[Spot], contexts: Sequence[Spot]) -> None:
        """Changes under which an installation goes on and on (a motor that runs for its time, cools down and runs
        again): for as long as everything can have happened once, and back to rest."""
        back = self.trials.come_back([(s,) for s in singles])
        longest = tails(self.stimuli.scheme)
        names = list(self.stimuli.scheme.sensors)
        loops: list[Loop] = []
        for spot in (s for s, comes in zip(singles, back, strict=True) if not comes):
            inputs = (
                names[i] if kind == "sensor" else self.stimuli.external[i] for kind, i in _changed(self.home, (spot,))
            )
            lasts = 2 * self.trials.seconds(max(longest[name] for name in inputs)) + MOMENT_S
            loops += [(joined(self.home, c, spot._replace(lasts=lasts)),) for c in (self.home, *contexts)]
        if loops:
            self.progress(f"changes after which there is no rest: {len(loops)}")
            self.add(loops, self.wanted)

    def _doubtful(self, singles: Sequence[Spot], contexts: Sequence[Spot]) -> None:
        """For mistyped limits that nothing tells yet: values between the two limits that leave other rules in doubt, at
        rest and in each context. What goes by those rules is then not looked at. Where such a value tells one, whole
        flights with all of them."""
        telling: dict[Spot, set[tuple[frozenset[int], bool]]] = {}  # in which context, on which sides
        for i in [i for i in self.missing() if self._limit(i)]:
            self.progress(f"beside another limit: {self.hypotheses[i].name}")
            flights = self._stairs(singles, [i], doubtful=True)
            short = [loop for flight in flights for loop in self._shorter(singles, flight, i)]
            for loops in (flights, short):
                for context in (self.home, *contexts):
                    if not self.found[i]:
                        self.add([turned(self.home, context, loop) for loop in loops], [i])
                        if self.found[i]:
                            telling.setdefault(context, set()).update(self._side(loop[0]) for loop in loops)
        whole = (
            [(self._side(loop[0]), loop) for loop in self._stairs(singles, self.wanted, doubtful=True)]
            if telling
            else []
        )
        for context, sides in telling.items():
            new = [of for side, loop in whole if side in sides for of in (loop, *self._by_doubt(loop))]
            self.progress(f"whole flights that leave a rule in doubt: {len(new)}")
            self.add([turned(self.home, context, loop) for loop in new], self.wanted)

    def _by_doubt(self, flight: Loop) -> Iterator[Loop]:
        """A flight in two, for each rule that it leaves in doubt: without the places that do, so that the rule can be
        timed; and those alone."""
        doubted = self.trials.doubts.doubted(flight)
        for rule in dict.fromkeys(name for names in doubted for name in sorted(names)):
            yield tuple(s for s, names in zip(flight, doubted, strict=True) if rule not in names)
            yield tuple(s for s, names in zip(flight, doubted, strict=True) if rule in names)

    def _shorter(self, singles: Sequence[Spot], flight: Loop, hypothesis: int) -> Iterator[Loop]:
        """A flight for one mistyped limit that goes no further than it has to: to a trip limit only, or by way of each
        place on that side where the rule is tripped."""
        (slip,) = (w for w in self.hypotheses[hypothesis].wrong if isinstance(w, Slip))
        end = self._far(flight)
        beside = next((s for n, s in enumerate(flight) if n != end), None)
        if beside is None:
            return
        if slip.setting is Setting.TRIP_LIMIT:
            yield (beside,)
            return
        side = self._side(beside)
        ends = [s for s in singles if s.lines == self.home.lines and self._side(s) == side and not self._lead(s)]
        back = flight[flight.index(beside) :]
        yield from ((far, *back) for far in ends if self._distance(far) > self._distance(beside))

    def _while_short(self, singles: Sequence[Spot], contexts: Sequence[Spot]) -> None:
        """What shows only when something is done soon after something else: a line let go for a moment and set again,
        anywhere; a reset given before a rule that waits for it may take it."""
        ways: tuple[list[Loop], list[Loop]] = [], []
        for one in singles:
            for context in contexts if one.given != self.home.given else ():
                both = joined(self.home, one, context)
                let_go, again = one._replace(lasts=MOMENT_S), both._replace(lasts=2 * MOMENT_S)
                ways[0].append((both, let_go, again))
                ways[1].append((one, both, let_go, again))
        for loops in ways:
            missing = [i for i in self.missing() if not self._limit(i)]
            self.progress(f"lines let go for a moment: {len(loops)}")
            self.add(loops, missing)
        for i in self.missing():
            for slip in self.hypotheses[i].wrong:
                if isinstance(slip, Slip) and slip.setting is Setting.CLEAR_DELAY:
                    self.add(self._early(singles, slip), [i])

    def _early(self, singles: Sequence[Spot], slip: Slip) -> Iterator[Loop]:
        """From each place to rest, and the reset of a rule given when the shorter of the times that it may wait is over
        and the longer is not."""
        rule = self.stimuli.scheme.rules[slip.rule]
        own = usual(rule, slip.setting)
        if rule.manual and rule.reset_by in self.stimuli.external and own is not None:
            middle = (own + slip.value) // 2 * self.stimuli.scheme.scan_us // MICRO
            button = self.stimuli.external.index(rule.reset_by)
            for one in singles:
                yield (one, self.home._replace(lasts=middle), self.home._replace(press=button))

    def _limit(self, hypothesis: int) -> bool:
        return any(isinstance(w, Slip) and w.of_limit for w in self.hypotheses[hypothesis].wrong)

    def _apart(self, singles: Sequence[Spot], contexts: Sequence[Spot]) -> None:
        """For rules that nothing tells yet and that watch several sensors: two of these given different values, in each
        context; from the quickest such loop that tells a rule, flights of steps beside its limits."""
        scheme, names = self.stimuli.scheme, list(self.stimuli.scheme.sensors)
        missing = {self.hypotheses[i].name: i for i in self.missing()}
        for rule in scheme.rules.values():
            members = [names.index(s.name) for s in self.stimuli.watched_sensors(rule)]
            if f"{rule.name}.omitted" not in missing or len(members) < 2:
                continue
            own = {n: i for n, i in missing.items() if n.startswith(f"{rule.name}.")}
            of = {m: [s for s in singles if _changed(self.home, (s,)) == {("sensor", m)}] for m in members}
            pairs = [joined(self.home, a, b) for m in members for n in members if m < n for a in of[m] for b in of[n]]
            before = set(self.runs)
            self.add([(joined(self.home, c, s),) for c in (self.home, *contexts) for s in pairs], [*own.values()])
            telling = [
                run for loop, run in self.runs.items() if loop not in before and run.found[own[f"{rule.name}.omitted"]]
            ]
            if telling:
                far = min(telling, key=lambda run: run.seconds).loop[0]
                self.add([self._beside(far, m, own.values()) for m in members], [*own.values()])

    def _beside(self, far: Spot, sensor: int, which: Iterable[int]) -> Loop:
        """To a spot and back with one sensor beside each limit that may be mistyped on the way."""
        rest = tuple(self.home.given[i] if i == sensor else a for i, a in enumerate(far.given))
        out, back = dict[Spot, None](), dict[Spot, None]()
        for i in which:
            for slip in self.hypotheses[i].wrong:
                if isinstance(slip, Slip) and slip.of_limit:
                    given = between(self.stimuli, slip, rest, sensor)
                    if given is not None:
                        (back if slip.setting is Setting.CLEAR_LIMIT else out)[far._replace(given=given)] = None
        going = sorted({*out} - {far}, key=self._distance)
        return (*going, far, *sorted({*back} - {far}, key=self._distance, reverse=True))

    def _whole(self, context: Spot, stairs: Sequence[Loop], telling: Sequence[Run]) -> None:
        """Where a sensor tells more with a line set the other way, the whole flight of steps with it: from the first
        step on, from the far end on, and at the far end only. One flight may then do for several."""
        sides = {self._side(s) for run in telling for s in run.loop if s.given != self.home.given}
        sensors = {frozenset(of) for of, _ in sides}
        loops: list[Loop] = []
        for loop in stairs:
            if self._side(loop[0])[0] not in sensors:
                continue
            loops += self._with(loop, context)
        self.progress(f"whole flights with a line set the other way: {len(loops)}")
        self.add(loops, self.wanted)

    def singles(self) -> list[Spot]:
        """Each single change of rest."""
        rest = self.stimuli.rest
        changed = (c.to(rest) for c in self.stimuli.changes if c.press is None)
        spots = [Spot(tuple(self.stimuli.applied(p)), p.lines) for p in changed if p is not None]
        return [s for s in dict.fromkeys(spots) if self.trials.doubts.usable(s)]

    def _pairs(self, singles: Sequence[Spot], contexts: Sequence[Spot]) -> Iterator[Loop]:
        """A change, then a line set."""
        for one in singles:
            for context in contexts:
                if one != context:
                    yield (one, joined(self.home, one, context))

    def _stairs(self, singles: Sequence[Spot], which: Iterable[int], *, doubtful: bool = False) -> list[Loop]:
        """Away from rest step by step, beside each trip limit that may be mistyped, to the far end; and back beside
        each clear limit, where a rule that waits for a reset is given it. `doubtful`: other rules may be in doubt on
        the way."""
        ways: dict[tuple[frozenset[int], bool], tuple[dict[Spot, None], dict[Spot, None]]] = {}
        resets: dict[Spot, int] = {}  # where to try whether a rule can be reset, and by which button
        external = self.stimuli.external
        for i in which:
            for slip in self.hypotheses[i].wrong:
                if isinstance(slip, Slip) and slip.of_limit:
                    given = between(self.stimuli, slip, self.home.given, doubtful=doubtful)
                    spot = None if given is None else Spot(given, self.home.lines)
                    if spot is not None and self.trials.doubts.usable(spot):
                        out_back = ways.setdefault(self._side(spot), ({}, {}))
                        out_back[slip.setting is Setting.CLEAR_LIMIT][spot] = None
                        rule = self.stimuli.scheme.rules[slip.rule]
                        if slip.setting is Setting.CLEAR_LIMIT and rule.manual and rule.reset_by in external:
                            resets[spot] = external.index(rule.reset_by)
        loops: list[Loop] = []
        for side, (out, back) in ways.items():
            ends = [s for s in singles if s.lines == self.home.lines and self._side(s) == side and not self._lead(s)]
            far = max([*ends, *out, *back], key=self._distance)
            going = sorted({*out} - {far}, key=self._distance)
            coming = sorted({*back} - {far}, key=self._distance, reverse=True)
            tried = (of for s in coming for of in ((s, s._replace(press=resets[s])) if s in resets else (s,)))
            loops.append((*going, far, *tried))
        return loops

    def beside_limits(self, singles: Sequence[Spot], *, doubtful: bool = False) -> dict[int, list[Loop]]:
        """For each mistyped limit by itself the ways to tell it, at rest and with each line set the other way.
        `doubtful`: with values that leave other rules in doubt."""
        contexts = [s for s in singles if s.given == self.home.given]
        found: dict[int, list[Loop]] = {}
        for i in range(1, len(self.hypotheses)):
            for flight in self._stairs(singles, [i], doubtful=doubtful):
                loops = (flight, *(self._shorter(singles, flight, i) if doubtful else ()))
                found[i] = [turned(self.home, c, loop) for loop in loops for c in (self.home, *contexts)]
        return found

    def _side(self, spot: Spot) -> tuple[frozenset[int], bool]:
        """Which sensors it changes, and whether upward."""
        pairs = enumerate(zip(spot.given, self.home.given, strict=True))
        changed = {i: a.value > b.value for i, (a, b) in pairs if a != b}
        return frozenset(changed), any(changed.values())

    def _lead(self, spot: Spot) -> bool:
        return any(a.how for a in spot.given)

    def _distance(self, spot: Spot) -> int:
        return sum(abs(a.value - b.value) for a, b in zip(spot.given, self.home.given, strict=True))

    # --- one loop in the place of two

    def refine(self, runs: Sequence[Run], critical: frozenset[Input]) -> bool:
        """Loops that stand in each other's way, in one: where two need the same input, the lines that only the second
        sets are set in the first too, all the way, from its far end on, or at the far end only; and a line that a loop
        keeps set is let go and set again at its far end. Whether any was new."""
        loops: dict[Loop, None] = {}
        touched = [_changed(self.home, run.loop) for run in runs]
        for n, run in enumerate(runs):
            if not touched[n] & critical:
                continue
            for m in range(len(runs)):
                if m == n or not touched[n] & touched[m] & critical:
                    continue
                lines = list(self.home.lines)
                for kind, i in touched[m] - touched[n]:
                    if kind == "line":
                        lines[i] = not lines[i]
                context = self.home._replace(lines=tuple(lines))
                if context != self.home:
                    loops.update(dict.fromkeys(self._with(run.loop, context)))
            for kind, i in touched[n]:
                if kind == "line":
                    loops[self._let_go(run.loop, i)] = None
        new = [loop for loop in loops if loop not in self._tried]
        if new:
            self.progress(f"{len(new)} loops in the place of two each")
            self.add(new, self.wanted)
        return bool(new)

    def _far(self, loop: Loop) -> int:
        return max(range(len(loop)), key=lambda i: self._distance(loop[i]))

    def _with(self, loop: Loop, context: Spot) -> Iterator[Loop]:
        """A loop with lines set: from the first step on, from the far end on, and at the far end only."""
        far = self._far(loop)
        yield turned(self.home, context, loop)
        yield (*loop[: far + 1], *turned(self.home, context, loop[far:]))
        yield (*loop[: far + 1], joined(self.home, context, loop[far]), *loop[far:])

    def _let_go(self, loop: Loop, line: int) -> Loop:
        """A loop in which a line is for once as at rest at the far end."""
        far = self._far(loop)
        lines = list(loop[far].lines)
        lines[line] = self.home.lines[line]
        return (*loop[: far + 1], loop[far]._replace(lines=tuple(lines)), *loop[far:])


def joined(home: Spot, one: Spot, other: Spot) -> Spot:
    """Both changes of rest at once; the second's where both change one thing. A button that is held is not pressed."""
    given = tuple(b if b != r else a for a, b, r in zip(one.given, other.given, home.given, strict=True))
    lines = tuple(b if b != r else a for a, b, r in zip(one.lines, other.lines, home.lines, strict=True))
    press = other.press if other.press is not None and not lines[other.press] else None
    return Spot(given, lines, press, other.lasts)


def turned(home: Spot, context: Spot, loop: Loop) -> Loop:
    """A loop with a change of rest made all the way; what then is the same twice is done once."""
    spots = [joined(home, context, s) for s in loop]
    return tuple(s for n, s in enumerate(spots) if n == 0 or s != spots[n - 1])


def _changed(home: Spot, loop: Loop) -> set[Input]:
    """The inputs that a loop gives something else than at rest."""
    found: set[Input] = set()
    for spot in loop:
        found |= {("sensor", i) for i, (a, b) in enumerate(zip(spot.given, home.given, strict=True)) if a != b}
        found |= {("line", i) for i, (a, b) in enumerate(zip(spot.lines, home.lines, strict=True)) if a != b}
    return found
