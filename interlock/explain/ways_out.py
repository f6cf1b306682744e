"""What would take a fault off the list of single points of failure: a change that fits the part, the mode and the harm.

What lets something run too long is answered in series, or by one more voice that can stop it; what stops something that
has to run is answered in parallel, or by one more voice that has to agree. Where no change is known to help, the words
say that.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from interlock.explain.closed import complete
from interlock.explain.phrases import Phrase, Value, listing, say, sentence
from interlock.explain.remedies import Remedy
from interlock.explain.tables import BACKINGS, SECOND_SIGNALS
from interlock.explain.template import Template
from interlock.explain.words import ENGLISH, Say
from interlock.faults.effects import Effect, FaultEffect
from interlock.faults.inject import Study
from interlock.scheme.model import Claim, Condition, Fault, Line, Output, Rule, Scheme
from interlock.scheme.words import Contact, LineForm, Mode, Must, OnInvalid, Part, PowerUp, Signal


def told_ways_out(
    scheme: Scheme, study: Study, effect: FaultEffect, catalogue: Mapping[Template, str] = ENGLISH
) -> str:
    """What would take a fault that a study found to violate something off its list, in words."""
    return " ".join(sentence(phrase, catalogue) for phrase in ways_out_of(scheme, study, effect))


def ways_out_of(scheme: Scheme, study: Study, effect: FaultEffect) -> list[Phrase]:
    """The same in phrases; what is violated without any fault is not its matter."""
    anyway = {claim.name for claim, found in zip(scheme.claims, study.cut_sets, strict=True) if () in found.minimal}
    points = frozenset(e.fault for e in study.effects if e.effect is Effect.VIOLATES)
    return ways_out(scheme, effect.fault, [name for name in effect.violates if name not in anyway], points)


def ways_out(scheme: Scheme, fault: str, violates: Iterable[str], points: Container[str]) -> list[Phrase]:
    """What would take the fault, which violates these claims alone, off the list; `points`: all faults on it."""
    record = scheme.faults[fault]
    if record.together:
        return [say(Remedy.COULD_KEEP_SEPARATE)]
    names = frozenset(violates)
    harms = [_Harm.of(scheme, c) for c in scheme.claims if c.name in names and c.protects]
    said = list(_BY_PART[record.part](_Point(scheme, record, harms, points)))
    if not said:
        return [say(Remedy.COULD_LEAVE_OUT, backing=say(BACKINGS[record.mode]))]
    if record.installation and record.part is not Part.PATH:
        said.append(say(Remedy.COULD_TEST))
    return said


@dataclass(frozen=True, slots=True)
class _Harm:
    """A violated claim: it takes one of `running` running for too long, or one of `stopped` stopped for too long."""

    claim: Claim
    running: frozenset[str]
    stopped: frozenset[str]

    @staticmethod
    def of(scheme: Scheme, claim: Claim) -> _Harm:
        runs = claim.must is Must.NEVER_RUNNING
        paths = [(claim.path, runs), *((c.name, c.test) for c in claim.all_conditions() if c.signal is Signal.PATH)]
        # what a path is behind runs with it, and stops it
        return _Harm(
            claim,
            frozenset(p for name, on in paths if on is True for p in _ahead(scheme, name)),
            frozenset(p for name, on in paths if on is False for p in _ahead(scheme, name)),
        )


def _ahead(scheme: Scheme, path: str) -> Iterator[str]:
    """The path and all that it is behind."""
    while path:
        yield path
        path = scheme.paths[path].behind


@dataclass(frozen=True, slots=True)
class _Point:
    scheme: Scheme
    fault: Fault
    harms: Sequence[_Harm]
    points: Container[str]

    @property
    def part(self) -> str:
        return self.fault.parts[0]

    @property
    def running(self) -> frozenset[str]:
        """What harms by running too long."""
        return frozenset().union(*(harm.running for harm in self.harms))

    @property
    def stopped(self) -> frozenset[str]:
        """What harms by standing too long."""
        return frozenset().union(*(harm.stopped for harm in self.harms))

    def is_point(self, mode: Mode) -> bool:
        """Whether that mode of the same part is on the list too, or nobody reckons with it."""
        name = f"{self.part}.{mode}"
        return name in self.points or name not in self.scheme.faults


def _could(ways: Iterable[Phrase]) -> Iterator[Phrase]:
    """All of these ways together, each told once."""
    found = list(dict.fromkeys(ways))
    if found:
        yield say(Remedy.COULD if len(found) == 1 else Remedy.COULD_TOGETHER, ways=listing(found))


# --- sensors


def _sensor(point: _Point) -> Iterator[Phrase]:
    if point.fault.mode is Mode.SWAPPED:
        yield say(Remedy.COULD_KEY)
    elif point.harms and all(harm.claim.must is Must.NEVER_RUNNING for harm in point.harms):
        yield from _could([_second_sensor(point)])
    elif point.harms:
        yield from _could([say(Remedy.WAY_MIDDLE_SENSOR)])


def _second_sensor(point: _Point) -> Phrase:
    sensor = point.scheme.sensors[point.part]
    blind = [rule.name for rule in _sensor_stops(point) if rule.on_invalid is not OnInvalid.TRIP]
    match point.fault.mode:
        case Mode.STUCK if not blind:
            return say(Remedy.WAY_SHORTER_STALE if sensor.stale_after else Remedy.WAY_STALE)
        case Mode.OPEN | Mode.SHORTED:
            read = sensor.open_reads if point.fault.mode is Mode.OPEN else sensor.shorted_reads
            if read is not None and read in sensor.valid:
                return say(Remedy.WAY_OUTSIDE_VALID)
            if blind:
                return say(Remedy.WAY_TRIP_ON_INVALID, rules=listing(blind))
        case Mode.MISPLACED:
            return say(Remedy.WAY_SENSOR_ELSEWHERE)
    return say(Remedy.WAY_SECOND_SENSOR)


def _sensor_stops(point: _Point) -> Iterator[Rule]:
    """The rules on the sensor's reading that stop what harms by running, by themselves or through others."""
    readings = {r.name for r in point.scheme.readings.values() if point.part in r.sensors}
    for rule in point.scheme.rules.values():
        reads = rule.watched in readings if rule.watches is Signal.READING else rule.watched == point.part
        if not reads or rule.watches not in (Signal.SENSOR, Signal.READING):
            continue
        if any(not on and _stops(other, point.running) for other, on in _following(point.scheme, [(rule, False)])):
            yield rule


def _stops(rule: Rule, paths: Container[str]) -> bool:
    return any(target.path in paths for target in rule.blocks)


def _starts(rule: Rule, paths: Container[str]) -> bool:
    return any(path in paths for path in rule.starts)


# --- lines


def _line(point: _Point) -> Iterator[Phrase]:
    line, mode = point.scheme.lines[point.part], point.fault.mode
    if mode is Mode.SWAPPED:
        yield say(Remedy.COULD_KEY)
        return
    yield from _could(_line_ways(point, line))
    if mode is Mode.BROKEN and not point.is_point(Mode.SHORTED):
        # a broken wire then reads what a short reads now: that a break is the commoner is common practice, no source
        yield say(Remedy.COULD_UNDRIVEN, state=say(Say.OFF if line.undriven_reads else Say.ON))


def _line_ways(point: _Point, line: Line) -> Iterator[Phrase]:
    for harm in point.harms:
        stops = [rule for rule in point.scheme.rules.values() if _stops(rule, harm.running)]
        overridden = [rule for rule in stops if rule.overridden_by == line.name]
        in_one_mode = [t.path for rule in stops for t in rule.blocks if t.path in harm.running and _asks(t.when, line)]
        if overridden:
            endless = any(rule.override_at_most is None for rule in overridden)
            yield say(Remedy.WAY_OVERRIDE_ENDS if endless else Remedy.WAY_OVERRIDE_SHORTER)
        elif in_one_mode:
            yield say(Remedy.WAY_BOTH_MODES, paths=listing(dict.fromkeys(in_one_mode)))
        else:
            yield from _voices(point, line, harm)


def _asks(when: Iterable[Sequence[Condition]], line: Line) -> bool:
    return any(c.signal is Signal.LINE and c.name == line.name for alternative in when for c in alternative)


def _voices(point: _Point, line: Line, harm: _Harm) -> Iterator[Phrase]:
    """One more signal: with a voice of its own where the rules fail to act, asked as well where they act wrongly."""
    acts = _acts(point, line)
    fails = any(not on and (_stops(r, harm.running) or _starts(r, harm.stopped)) for r, on in acts)
    wrongly = any(on and (_stops(r, harm.stopped) or _starts(r, harm.running)) for r, on in acts)
    if not fails and not wrongly:
        return
    named = any(c.name == line.name and c.signal is Signal.LINE for c in harm.claim.all_conditions())
    if fails and wrongly:
        how = say(Remedy.VOICE_TWO_OF_THREE)
    elif fails:
        how = say(Remedy.VOICE_OWN_NAMED if named else Remedy.VOICE_OWN)
    else:
        how = say(Remedy.VOICE_ASKED_NAMED if named else Remedy.VOICE_ASKED)
    fields: dict[str, Value] = {}
    if line.form is LineForm.CONFIRMS:
        fields = {"output": line.output}
    elif line.form.sent:
        fields = {"unit": line.unit}
    yield say(Remedy.WAY_SECOND_SIGNAL, signal=say(SECOND_SIGNALS[line.form], **fields), how=how)


def _acts(point: _Point, line: Line) -> list[tuple[Rule, bool]]:
    """The rules that go by what the line reads, each with whether it then acts when it should not, or (False) does not
    when it should; those that go by such rules are among them."""
    read = {
        Mode.BROKEN: (line.undriven_reads,),
        Mode.SHORTED: (not line.undriven_reads,),
        Mode.INVERTED: (False, True),
    }[point.fault.mode]
    scheme = point.scheme
    return _following(scheme, [pair for value in read for pair in _going_by(scheme, Signal.LINE, line.name, value)])


def _going_by(scheme: Scheme, signal: Signal, name: str, value: bool) -> Iterator[tuple[Rule, bool]]:
    """The rules that look at the signal, each with whether it acts on that value."""
    for rule in scheme.rules.values():
        tests = [rule.trips.test] if (rule.watches, rule.watched) == (signal, name) else []
        tests += [c.test for c in rule.only_while if (c.signal, c.name) == (signal, name)]
        for acting in {test is value for test in tests}:
            yield rule, acting


def _following(scheme: Scheme, first: Iterable[tuple[Rule, bool]]) -> list[tuple[Rule, bool]]:
    """These rules, acting or not, and all that go by them or by what they send."""
    found: dict[tuple[str, bool], Rule] = {}
    open_ = list(first)
    while open_:
        rule, acting = open_.pop()
        if (rule.name, acting) in found:
            continue
        found[rule.name, acting] = rule
        open_ += _going_by(scheme, Signal.RULE, rule.name, acting)
        for line in scheme.lines.values():
            if rule.name in line.rules:
                open_ += _going_by(scheme, Signal.LINE, line.name, acting is (line.form is LineForm.HIGH_WHEN))
    return [(rule, acting) for (_, acting), rule in found.items()]


# --- outputs, units: what runs and what stands, whatever is decided


def _output(point: _Point) -> Iterator[Phrase]:
    if point.fault.mode is Mode.SWAPPED:
        yield say(Remedy.COULD_KEY)
        return
    output = point.scheme.outputs[point.part]
    if point.fault.mode is Mode.WRONG_CONTACT and _confirming(point.scheme, output):
        return  # rules that go by its auxiliary contact are deceived as well, whatever stands in series
    runs, stands = _stays(point.fault.mode, output)
    paths = _with_behind(point.scheme, output.drives)
    yield from _could(_answers(point, paths if runs else (), paths if stands else (), [output]))


def _confirming(scheme: Scheme, output: Output) -> list[str]:
    """The lines that tell whether the output's contact is closed."""
    return [line.name for line in scheme.lines.values() if line.output == output.name]


def _stays(mode: Mode, output: Output) -> tuple[bool, bool]:
    """Whether with this fault the output's paths can run when they must not, and stand when they must not."""
    if mode is Mode.WRONG_CONTACT:
        return True, True
    runs = mode is Mode.IGNORED or (mode is Mode.WELDED) is output.runs_when.when_made
    return runs, not runs


def _with_behind(scheme: Scheme, paths: Iterable[str]) -> frozenset[str]:
    wanted = set(paths)
    return frozenset(name for name in scheme.paths if wanted & set(_ahead(scheme, name)))


def _answers(
    point: _Point, runs: Container[str], stands: Container[str], outputs: Sequence[Output], *, elsewhere: bool = False
) -> Iterator[Phrase]:
    """What answers each harm. `runs`, `stands`: what can with this fault, whatever is decided, through `outputs`;
    `elsewhere`: only another unit helps."""
    for harm in point.harms:
        if any(path in runs for path in harm.running):
            # where it harms too that this stands, rules have to know that the second one is closed
            needed = {p for c in point.scheme.claims if c.protects for p in _Harm.of(point.scheme, c).stopped}
            told = any(needed & set(o.drives) and _confirming(point.scheme, o) for o in outputs)
            first = Remedy.WAY_SERIES_CONFIRMED if told else Remedy.WAY_SERIES
            yield say(Remedy.WAY_SERIES_ELSEWHERE if elsewhere else first)
            continue
        standing = [path for path in point.scheme.paths if path in harm.stopped and path in stands]
        own = harm.claim.must is Must.NEVER_STOPPED and harm.claim.path in standing
        if own or (standing and not _quick_enough(point.scheme, harm.claim)):
            doubled = [harm.claim.path] if own else [p for p in standing if any(p in o.drives for o in outputs)]
            key = Remedy.WAY_PARALLEL_ELSEWHERE if elsewhere else Remedy.WAY_PARALLEL
            yield say(key, paths=listing(doubled or standing))
        elif standing:
            signals = [name for output in outputs for name in _confirming(point.scheme, output)]
            yield say(Remedy.WAY_FAR_END, signals=listing(signals) if signals else say(Remedy.THE_COMMAND))


def _quick_enough(scheme: Scheme, claim: Claim) -> bool:
    """Whether what has to stop (start) once another path stands can do so in the time that the claim allows."""
    outputs = [scheme.outputs[name] for name in scheme.paths[claim.path].outputs]
    if claim.must is Must.NEVER_RUNNING:
        return min((o.stops_within.scans for o in outputs), default=0) + 1 <= claim.longer_than.scans
    return max((o.starts_within.scans for o in outputs), default=0) <= claim.longer_than.scans


def _unit(point: _Point) -> Iterator[Phrase]:
    scheme, mode = point.scheme, point.fault.mode
    outputs = [o for o in scheme.outputs.values() if o.unit == point.part]
    driven = _with_behind(scheme, (path for output in outputs for path in output.drives))
    if mode is Mode.POWER_CYCLED:
        yield say(Remedy.COULD_BUFFER, unit=point.part)
        yield from _could(_powered_up(point, driven, outputs))
        return
    if mode is Mode.FROZEN:
        if not point.is_point(Mode.DEAD):
            yield say(Remedy.COULD_WATCHDOG, unit=point.part)
        ways = list(_answers(point, driven, driven, outputs, elsewhere=True))
        yield from _could(ways or [say(Remedy.WAY_RULES_TWICE, unit=point.part)])
        return
    released = {o.name: (o.contact is Contact.NORMALLY_CLOSED) is o.runs_when.when_made for o in outputs}
    runs = _with_behind(scheme, (path for o in outputs if released[o.name] for path in o.drives))
    stands = _with_behind(scheme, (path for o in outputs if not released[o.name] for path in o.drives))
    ways = list(_answers(point, runs, stands, outputs, elsewhere=True))
    if not ways:
        ways = [
            say(Remedy.WAY_UNDRIVEN, line=line.name, state=say(Say.OFF if line.undriven_reads else Say.ON))
            for line in scheme.lines.values()
            if line.unit == point.part and line.undriven_reads is (line.form is LineForm.LOW_WHEN)
        ]
    yield from _could(ways)


def _powered_up(point: _Point, driven: frozenset[str], outputs: Sequence[Output]) -> Iterator[Phrase]:
    """A moment without power: the rules go to their power-up states."""
    own = [rule for rule in point.scheme.rules.values() if rule.unit == point.part]
    # one that comes back as it was left does not move while cuts follow each other, so only `tripped` is sure to stop
    early = [r.name for r in own if _stops(r, point.running) and r.power_up is not PowerUp.TRIPPED]
    if early and not point.stopped:
        yield say(Remedy.WAY_POWER_UP_TRIPPED, rules=listing(early))
    else:
        yield from _answers(point, frozenset(), driven, outputs, elsewhere=True)


def _path(_point: _Point) -> Iterator[Phrase]:
    yield say(Remedy.COULD_KEEP_APART)


def _rule(_point: _Point) -> Iterator[Phrase]:
    yield from _could([say(Remedy.WAY_RULE_AGAIN)])


_BY_PART: Final[Mapping[Part, Callable[[_Point], Iterator[Phrase]]]] = complete(
    {
        Part.SENSOR: _sensor,
        Part.LINE: _line,
        Part.OUTPUT: _output,
        Part.UNIT: _unit,
        Part.PATH: _path,
        Part.RULE: _rule,
    },
    Part,
    "ways out by part",
)
