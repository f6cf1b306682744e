"""What nobody can say while a sheet is carried out: rules whose conditions depend on the errors of what is given, all
that can be seen of them, and for how long after.

A doubt about a rule ends once it has been given, for long enough, what makes it trip or let go for certain: its own
delay, the delays of the rules that go by it, and what the devices behind them take. One that waits for a reset has to
be given that too.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np

from interlock.logic.compiled import compile_scheme
from interlock.logic.faultset import FaultSet
from interlock.plan.chains import tails
from interlock.plan.hypotheses import Given, Hypothesis
from interlock.plan.reach import touched
from interlock.plan.sights import Sight, SightKind
from interlock.plan.stand import Packed
from interlock.plan.stimuli import Applied, Stimuli
from interlock.scheme.model import Fault, Rule
from interlock.scheme.units import MICRO
from interlock.scheme.words import Mode, Part, Signal


class Spot(NamedTuple):
    """What all inputs are given in a phase, and the button pressed as it begins. `lasts`: how many seconds; 0 until
    nothing of a healthy installation changes by itself any more."""

    given: Given
    lines: tuple[bool, ...]
    press: int | None = None
    lasts: int = 0


Wait = int | None  # until which second of a phase; None for all of it


@dataclass(frozen=True, slots=True)
class Doubtful:
    """What nobody can say in a phase: until when which sights (packed), and until when what there is with which
    hypotheses."""

    cones: tuple[tuple[Wait, Packed], ...]
    hypotheses: Mapping[int, Wait]
    nothing: Packed

    def sights(self, at: int) -> Packed:
        """The sights in doubt for a look that begins so many seconds after the phase did, packed."""
        found = self.nothing.copy()
        for until, cone in self.cones:
            if until is None or at < until:
                found |= cone
        return found

    def silenced(self, at: int = 0) -> frozenset[int]:
        """The hypotheses in doubt for such a look."""
        return frozenset(i for i, until in self.hypotheses.items() if until is None or at < until)

    @property
    def ends(self) -> Iterator[int]:
        """The seconds at which doubts end."""
        return (until for until in (*(u for u, _ in self.cones), *self.hypotheses.values()) if until)


@dataclass(slots=True)
class _Track:
    """What is known of a rule. `takes`: after how many seconds with its trip or its clear condition met for certain, or
    after its reset, nothing goes by what it was before; `turns`: after how many it is itself tripped, or clear or ready
    to be reset. `tripped`: None where it is on the way, or in `doubt`. `side`: which condition has been met for
    certain, for how many `seconds` by now; `reset`: it was reset since."""

    rule: Rule
    button: int | None
    takes: tuple[int, int, int]
    turns: tuple[int, int]
    tripped: bool | None = None
    doubt: bool = False
    side: bool | None = None
    seconds: int = 0
    reset: bool = False

    def goes_on(self, trips: bool | None, clears: bool | None, spot: Spot, seconds: int) -> Wait:
        """One phase with the conditions met, not met or in doubt: until when in it the rule is in doubt.

        A rule that is tripped stays so as long as its clear condition is not met for certain, whatever the other is;
        and the other way round."""
        stays = (self.tripped is True and clears is False) or (self.tripped is False and trips is False)
        if (trips is None or clears is None) and not stays:
            self.doubt, self.tripped, self.side, self.seconds, self.reset = True, None, None, 0, False
            return None
        side = True if trips else False if clears else None
        if side is None:
            self.side, self.seconds = None, 0
            return None if self.doubt else 0
        waited = self.seconds if side is self.side else 0
        takes = self.takes[0] if side else self.takes[2] if self.rule.manual else self.takes[1]
        if self.rule.manual and not side and self.tripped is not False and not self.reset:
            self.reset = spot.press is not None and spot.press == self.button and waited >= self.turns[1]
            if not self.reset:
                self.side, self.seconds = side, waited + seconds
                return None if self.doubt else 0
            waited = 0
        self.reset = self.reset and not side
        self.side, self.seconds = side, waited + seconds
        left = max(0, takes - waited) if self.doubt else 0
        self.doubt = self.doubt and self.seconds < takes
        turns = self.turns[0] if side else 1 if self.reset else self.turns[1]
        if self.tripped is not side:
            self.tripped = side if not self.doubt and self.seconds >= min(turns, takes) else None
        return left


@dataclass
class Doubts:
    """The doubts of a scheme's sheet. `sources`: for each hypothesis which element each sensor's input is wired to.
    `home`: where loops begin and end."""

    stimuli: Stimuli
    looked_at: Sequence[Sight]
    hypotheses: Sequence[Hypothesis]
    sources: Sequence[tuple[int, ...]]
    home: Spot
    _rules: dict[Given, tuple[Rule, ...]] = field(default_factory=dict)
    _silent: dict[Given, frozenset[int]] = field(default_factory=dict)
    _met: dict[tuple[Rule, tuple[Applied, ...]], tuple[bool | None, bool | None]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        scheme = self.scheme = self.stimuli.scheme
        self._watching = [r for r in scheme.rules.values() if r.watches in (Signal.SENSOR, Signal.READING)]
        names = list(scheme.sensors)
        self._members = {r.name: [names.index(s.name) for s in self.stimuli.watched_sensors(r)] for r in self._watching}
        self._edited = [h.edited(scheme) for h in self.hypotheses]
        straight = tuple(range(len(names)))
        self._careful = [i for i, of in enumerate(self.sources) if self._edited[i] or of != straight]

    def rules(self, given: Given) -> tuple[Rule, ...]:
        """The rules whose conditions depend on the errors of what is given."""
        if given not in self._rules:
            self._rules[given] = self.stimuli.unsure(given)
        return self._rules[given]

    def usable(self, spot: Spot) -> bool:
        """Whether what is in doubt there is ended by going back to rest, and by pressing what is pressed there."""
        for rule in self.rules(spot.given):
            back = self._conditions(rule, self.home.given)
            waits = rule.manual and back == (False, True) and self._button(rule) not in self.stimuli.resets
            if back == (False, False) or waits:
                return False
        return True

    def ending(self, loop: Sequence[Spot]) -> tuple[int, Mapping[int, int]]:
        """For how many seconds at least all has to be as at rest after a loop for its doubts to end; what has to be
        pressed then, as nobody can say whether a rule waits for it, and for how many seconds that goes on."""
        least, pressed = 0, dict[int, int]()
        for rule in {rule.name: rule for spot in loop for rule in self.rules(spot.given)}.values():
            back, takes, button = self._conditions(rule, self.home.given), self._takes(rule), self._button(rule)
            if back == (True, False):
                least = max(least, takes[0])
            elif back == (False, True):
                least = max(least, self._seconds(rule.clears.delay.scans) if rule.manual else takes[1])
                if rule.manual and button is not None:
                    pressed[button] = max(pressed.get(button, 0), takes[2])
        return least, pressed

    def phases(self, spots: Sequence[Spot], lasting: Sequence[int], *, at_rest: bool = True) -> list[Doubtful]:
        """What nobody can say in each phase; the hypotheses are exchanged sensors and other limits with which there is
        a doubt that there is not without them, and exchanged wires behind a doubtful rule. `lasting`: the seconds of
        each phase. `at_rest`: the first begins at rest; else from power-up."""
        nothing = np.zeros((len(self.looked_at) + 7) // 8, np.uint8)
        unsure = {rule.name: rule for spot in spots for rule in self.rules(spot.given)}
        tracks = {name: self._track(rule, self.home.given, at_rest) for name, rule in unsure.items()}
        careful = {i: self._tracks_of(i, at_rest) for i in {i for spot in spots for i in self._silenced(spot.given)}}
        found: list[Doubtful] = []
        for spot, seconds in zip(spots, lasting, strict=True):
            cones: list[tuple[Wait, Packed]] = []
            for name, track in tracks.items():
                until = self._goes_on(track, spot.given, spot, seconds)
                if until is None or until:
                    cones.append((until, self._cones[name]))
            silent: dict[int, Wait] = {}
            for i, of in careful.items():
                wired = tuple(spot.given[n] for n in self.sources[i])
                waits = [self._goes_on(track, wired, spot, seconds) for track in of]
                if any(wait is None or wait for wait in waits):
                    silent[i] = None if None in waits else max(wait for wait in waits if wait is not None)
            if cones:
                silent |= {i: None for i, of in self._crossed.items() if any((of & cone).any() for _, cone in cones)}
            found.append(Doubtful(tuple(cones), silent, nothing))
        return found

    def doubted(self, loop: Sequence[Spot]) -> list[frozenset[str]]:
        """For each phase of a loop from rest the rules that are in doubt there, if each lasts for long."""
        tracks = {rule.name: self._track(rule, self.home.given, True) for s in loop for rule in self.rules(s.given)}
        long = max((t for track in tracks.values() for t in track.takes), default=0)
        waits = [{n: self._goes_on(t, s.given, s, long) for n, t in tracks.items()} for s in loop]
        return [frozenset(n for n, until in of.items() if until is None) for of in waits]

    def _tracks_of(self, hypothesis: int, at_rest: bool) -> list[_Track]:
        """What has to be known of with a hypothesis: the rules that it changes; with exchanged sensors all."""
        wired = tuple(self.home.given[n] for n in self.sources[hypothesis])
        rules = self._edited[hypothesis].values() or self._watching
        return [self._track(r, wired, at_rest) for r in rules if r.watches in (Signal.SENSOR, Signal.READING)]

    def _track(self, rule: Rule, rest: Given, at_rest: bool) -> _Track:
        """What is known of a rule at the beginning; at rest every reset has been given."""
        sure = at_rest and self._conditions(rule, rest) in ((True, False), (False, True))
        known = self._conditions(rule, rest)[0] if sure else None
        turns = self._seconds(rule.trips.delay.scans), self._seconds(rule.clears.delay.scans)
        return _Track(rule, self._button(rule), self._takes(rule), turns, known)

    def _goes_on(self, track: _Track, given: Given, spot: Spot, seconds: int) -> Wait:
        return track.goes_on(*self._conditions(track.rule, given), spot, seconds)

    def _conditions(self, rule: Rule, given: Given) -> tuple[bool | None, bool | None]:
        values = tuple(given[i] for i in self._members[rule.name])
        key = rule, values
        if key not in self._met:
            self._met[key] = self.stimuli.conditions(rule, values)
        return self._met[key]

    def _takes(self, rule: Rule) -> tuple[int, int, int]:
        """After how many seconds nothing goes by what a rule was before: with its trip or its clear condition met, or
        after its reset."""
        after = self._tails[rule.name]
        trips, clears = rule.trips.delay.scans, rule.clears.delay.scans
        return self._seconds(trips + after), self._seconds(clears + after), self._seconds(after)

    def _seconds(self, scans: int) -> int:
        return -(-(scans + 1) * self.scheme.scan_us // MICRO)

    def _button(self, rule: Rule) -> int | None:
        external = self.stimuli.external
        return external.index(rule.reset_by) if rule.reset_by in external else None

    def _silenced(self, given: Given) -> frozenset[int]:
        """The hypotheses with which something is in doubt with this given."""
        if given not in self._silent:
            self._silent[given] = frozenset(i for i in self._careful if self._says_nothing(i, given))
        return self._silent[given]

    def _says_nothing(self, hypothesis: int, given: Given) -> bool:
        wired = tuple(given[i] for i in self.sources[hypothesis])
        edited = self._edited[hypothesis]
        if edited:
            return any(not self.stimuli.sure_of(rule, wired) for rule in edited.values())
        return bool(self.stimuli.unsure(wired))

    # --- what goes by a rule

    @cached_property
    def _cones(self) -> Mapping[str, Packed]:
        """For each rule that watches a value the sights that depend on it, packed."""
        healthy = compile_scheme(self.scheme)
        found: dict[str, Packed] = {}
        for rule in self._watching:
            fault = Fault(f"{rule.name}.omitted", Part.RULE, Mode.OMITTED, (rule.name,))
            faulty = compile_scheme(self.scheme, [fault])
            found[rule.name] = self._packed(set(touched(healthy, faulty, self.looked_at, FaultSet.of([fault]))))
        return found

    def _packed(self, those: set[Sight]) -> Packed:
        return np.packbits([sight in those for sight in self.looked_at])

    @cached_property
    def _crossed(self) -> Mapping[int, Packed]:
        """For each hypothesis of exchanged wires what is seen at their ends, packed: behind them it may be anything
        that goes by a rule before them."""
        found: dict[int, Packed] = {}
        for i, hypothesis in enumerate(self.hypotheses):
            ends: set[Sight] = set()
            for wrong in hypothesis.wrong:
                for single in wrong.single() if isinstance(wrong, Fault) else ():
                    if single.mode is Mode.SWAPPED:
                        ends.update(sight for part in single.parts for sight in self._at(part))
            if ends:
                found[i] = self._packed(ends)
        return found

    def _at(self, part: str) -> tuple[Sight, ...]:
        line = self.scheme.lines.get(part)
        if line is not None and not line.output:
            return (Sight(SightKind.LINE, part),)
        output = line.output if line is not None else part
        return (Sight(SightKind.DEVICE, output),) if output in self.scheme.outputs else ()

    @cached_property
    def _tails(self) -> Mapping[str, int]:
        """For each rule for how many scans others, and devices, go by it after it is certain."""
        after = tails(self.scheme)
        slow = {n: max(o.starts_within.scans, o.stops_within.scans) for n, o in self.scheme.outputs.items()}
        found: dict[str, int] = {}
        for name, cone in self._cones.items():
            reached = np.unpackbits(cone, count=len(self.looked_at)).astype(bool)
            ends = [s.name for s, hit in zip(self.looked_at, reached, strict=True) if hit and s.name in slow]
            found[name] = after[name] + max((slow[o] for o in ends), default=0)
        return found
