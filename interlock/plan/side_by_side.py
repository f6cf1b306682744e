"""An installation without a fault and one with it, side by side as one scheme: for how long what can be seen of the two
can differ, over all that they can be given.

Both are given the same: sensors read anything, external lines are on or off at any scan. Devices obey at once, which is
one of the things they may do: what is certain to differ differs then too. What the fault cannot reach is taken once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from interlock.plan.wrong import Slip, Wrong, with_slips
from interlock.proof.decide import Decider
from interlock.proof.goal import Goal, Moves
from interlock.proof.index import Index
from interlock.proof.system import FaultPlan
from interlock.records import replace
from interlock.scheme.bare import with_parts
from interlock.scheme.model import (
    AnyOf,
    Condition,
    Delay,
    Fault,
    Flow,
    Interval,
    Line,
    Output,
    Path,
    Quantity,
    Rule,
    Scheme,
    Sensor,
    SensorError,
    Target,
)
from interlock.scheme.words import Contact, DeviceInput, Mode, Part, Signal

BUDGET = 500  # zones for one sight, one way
STATES = 2_000  # of the plain search of one
_COPY = " with it"
_SEEN = " seen"  # after the name of a rule, a line or an output: a path that is let run as that is seen
_OUT_OF_REACH = frozenset({Mode.STUCK, Mode.FROZEN, Mode.POWER_CYCLED, Mode.DRIFTED, Mode.MISPLACED})


class NotComparedError(Exception):
    """A fault of a kind that this does not compare."""


@dataclass
class Effort:
    """How many zones may be looked at: for one sight, one way, and over all questions that share it."""

    each: int = BUDGET
    zones: int = 1 << 60


@dataclass(frozen=True, slots=True)
class Longest:
    """For how many scans in a row something differs at most (not always the least such bound); None where that is more
    than was asked for, or not decided. `real`: there is a run in which it is more."""

    scans: int | None
    real: bool = False


@dataclass(frozen=True)
class SideBySide:
    """`scheme` without and with `wrong`. Raises NotComparedError for faults of sensors, and for such as may come later
    than power-up and then keep what they found."""

    scheme: Scheme
    wrong: Wrong
    effort: Effort = field(default_factory=Effort)

    def __post_init__(self) -> None:
        if isinstance(self.wrong, Slip):
            return
        for single in self.wrong.single():
            if single.mode in _OUT_OF_REACH or single.part in (Part.SENSOR, Part.UNIT):
                raise NotComparedError(single.name)

    def longest(self, at_most: int) -> Longest:
        """For how many scans in a row anything that can be seen may be on without the fault and off with it, or the
        reverse."""
        most = 0
        for sight in self._sights:
            for runs, stopped in ((sight, sight + _COPY), (sight + _COPY, sight)):
                goal = Goal(Moves.RUN, runs, (Condition(Signal.PATH, stopped, False),))
                if self.effort.zones <= 0:
                    return Longest(None)
                budget = min(self.effort.each, self.effort.zones)
                answer = Decider(self._index, goal, self._plan, budget, STATES).answer(at_most)
                self.effort.zones -= answer.zones
                if answer.upper > at_most:
                    return Longest(None, answer.lower > at_most)
                most = max(most, answer.upper)
        return Longest(most)

    # --- what the fault reaches

    @cached_property
    def _reached(self) -> frozenset[str]:
        """The rules, sent and confirming lines, outputs and paths that may differ, by their names."""
        scheme = self.scheme
        waiting = [self.wrong.rule] if isinstance(self.wrong, Slip) else [*self._parts()]
        found: set[str] = set()
        while waiting:
            name = waiting.pop()
            if name not in found:
                found.add(name)
                waiting += self._after[name]
        return frozenset(n for n in found if n in {*scheme.rules, *scheme.lines, *scheme.outputs, *scheme.paths})

    def _parts(self) -> Iterator[str]:
        assert isinstance(self.wrong, Fault), "a fault of the catalogue"
        for single in self.wrong.single():
            yield from single.parts

    @cached_property
    def _after(self) -> Mapping[str, list[str]]:
        """For each part those that go by it."""
        scheme = self.scheme
        found: dict[str, list[str]] = {n: [] for n in (*scheme.rules, *scheme.lines, *scheme.outputs, *scheme.paths)}
        for rule in scheme.rules.values():
            paths = [*(t.path for t in rule.blocks), *rule.starts]
            found[rule.name] += [o for p in paths for o in scheme.drives(rule.unit, p)]
            for name in self._looked_at(rule):
                found.setdefault(name, []).append(rule.name)
            # a condition on the mode decides what the rule blocks, not whether it is tripped
            for target in rule.blocks:
                for c in (c for alternative in target.when for c in alternative):
                    found.setdefault(c.name, []).extend(scheme.drives(rule.unit, target.path))
        for line in scheme.lines.values():
            for rule_name in line.rules:
                found[rule_name].append(line.name)
            if line.output:
                found[line.output].append(line.name)
        for output in scheme.outputs.values():
            found[output.name] += output.drives
        for path in scheme.paths.values():
            if path.behind:
                found[path.behind].append(path.name)
        return found

    @staticmethod
    def _looked_at(rule: Rule) -> Iterator[str]:
        yield rule.watched
        yield from (name for name in (rule.reset_by, rule.overridden_by) if name)
        yield from (c.name for c in rule.only_while)

    # --- both as one scheme

    @property
    def _edited(self) -> Scheme:
        return with_slips(self.scheme, [self.wrong]) if isinstance(self.wrong, Slip) else self.scheme

    def _copied(self, name: str) -> str:
        return name + _COPY if name in self._reached else name

    @cached_property
    def _index(self) -> Index:
        return Index(self._both)

    @cached_property
    def _plan(self) -> FaultPlan:
        if isinstance(self.wrong, Slip):
            return FaultPlan.of(())
        singles = tuple(replace(s, parts=tuple(map(self._copied, s.parts))) for s in self.wrong.single())
        return FaultPlan.of(singles).from_power_up()

    @cached_property
    def _sights(self) -> tuple[str, ...]:
        """The paths there of what can be seen and may differ: its own paths, and those let run as something is seen."""
        scheme, reached = self.scheme, self._reached
        return (
            *(p for p in scheme.paths if p in reached),
            *(o + _SEEN for o in scheme.outputs if o in reached and not self._alone(o)),
            *(r + _SEEN for r, rule in scheme.rules.items() if r in reached and rule.alarm),
            *(n + _SEEN for n, line in scheme.lines.items() if n in reached and line.form.sent),
        )

    def _alone(self, output: str) -> bool:
        """Whether a path runs just as this output's device is told."""
        (first, *more) = self.scheme.outputs[output].drives
        path = self.scheme.paths[first]
        return not more and not path.behind and len(path.outputs) == 1

    @cached_property
    def _both(self) -> Scheme:
        own, other = self.scheme, self._edited
        rules = dict(own.rules)
        rules |= {r.name: r for n, rule in other.rules.items() if n in self._reached for r in [self._rule(rule)]}
        lines = dict(own.lines)
        lines |= {n.name: n for name, line in own.lines.items() if name in self._reached for n in [self._line(line)]}
        paths = dict(own.paths)
        paths |= {p.name: p for n, path in own.paths.items() if n in self._reached for p in [self._path(path)]}
        outputs = dict(own.outputs)
        outputs |= {o.name: o for n, out in own.outputs.items() if n in self._reached for o in [self._output(out)]}
        for name in (n for n in own.outputs if n not in self._reached):
            also = tuple(p + _COPY for p in outputs[name].drives if p in self._reached)
            outputs[name] = replace(outputs[name], drives=(*outputs[name].drives, *also))
        for name in (n for n in own.rules if n not in self._reached):
            rules[name] = self._for_both(rules[name])
        self._watch(rules, paths, outputs)
        quantities, sensors = _anything(own)
        return with_parts(
            own,
            quantities=quantities,
            sensors=sensors,
            lines=lines,
            rules=rules,
            paths=paths,
            outputs=obeyed_at_once(outputs),
        )

    def _condition(self, c: Condition) -> Condition:
        return replace(c, name=self._copied(c.name))

    def _modes(self, when: AnyOf) -> AnyOf:
        return tuple(tuple(map(self._condition, alternative)) for alternative in when)

    def _rule(self, rule: Rule) -> Rule:
        return replace(
            rule,
            name=self._copied(rule.name),
            watched=self._copied(rule.watched),
            reset_by=self._copied(rule.reset_by),
            overridden_by=self._copied(rule.overridden_by),
            only_while=tuple(map(self._condition, rule.only_while)),
            blocks=tuple(Target(self._copied(t.path), self._modes(t.when)) for t in rule.blocks),
            starts=tuple(map(self._copied, rule.starts)),
        )

    def _for_both(self, rule: Rule) -> Rule:
        """A rule that the fault does not reach stops and starts the paths of both."""
        blocks = [Target(t.path + _COPY, self._modes(t.when)) for t in rule.blocks if t.path in self._reached]
        starts = [p + _COPY for p in rule.starts if p in self._reached]
        return replace(rule, blocks=(*rule.blocks, *blocks), starts=(*rule.starts, *starts))

    def _line(self, line: Line) -> Line:
        return replace(
            line,
            name=self._copied(line.name),
            rules=tuple(map(self._copied, line.rules)),
            output=self._copied(line.output),
        )

    def _path(self, path: Path) -> Path:
        return replace(
            path,
            name=self._copied(path.name),
            behind=self._copied(path.behind),
            outputs=tuple(map(self._copied, path.outputs)),
        )

    def _output(self, output: Output) -> Output:
        return replace(output, name=self._copied(output.name), drives=tuple(map(self._copied, output.drives)))

    # --- what is seen beside paths

    def _watch(self, rules: dict[str, Rule], paths: dict[str, Path], outputs: dict[str, Output]) -> None:
        """A path for each output, line and alarm that may differ, let run as that is seen; for both."""
        for name in self._reached:
            for suffix in ("", _COPY):
                if name in self.scheme.outputs and not self._alone(name):
                    self._watch_output(name, suffix, rules, paths, outputs)
                elif name in self.scheme.rules and self.scheme.rules[name].alarm:
                    rule = self.scheme.rules[name]
                    self._stopped_by([rule.name], rule.unit, name + _SEEN + suffix, suffix, (rules, paths, outputs))
                elif name in self.scheme.lines and self.scheme.lines[name].form.sent:
                    line = self.scheme.lines[name]
                    self._stopped_by(line.rules, line.unit, name + _SEEN + suffix, suffix, (rules, paths, outputs))

    def _watch_output(
        self, name: str, suffix: str, rules: dict[str, Rule], paths: dict[str, Path], outputs: dict[str, Output]
    ) -> None:
        """A path blocked and wanted whenever any that the output drives is: that changes nothing of the output."""
        output = outputs[name + suffix]
        seen = name + _SEEN + suffix
        driven = [paths[p] for p in output.drives]
        started = all(p.started_by == output.unit for p in driven)
        for rule in [r for r in rules.values() if r.unit == output.unit]:
            blocks = [Target(seen, t.when) for t in rule.blocks if t.path in output.drives]
            starts = [seen] if set(rule.starts) & set(output.drives) else []
            rules[rule.name] = replace(rule, blocks=(*rule.blocks, *blocks), starts=(*rule.starts, *starts))
        paths[seen] = Path(seen, Flow((), ()), outputs=(output.name,), started_by=output.unit if started else "")
        outputs[output.name] = replace(output, drives=(*output.drives, seen))

    def _stopped_by(
        self,
        names: Iterable[str],
        unit: str,
        seen: str,
        suffix: str,
        into: tuple[dict[str, Rule], dict[str, Path], dict[str, Output]],
    ) -> None:
        """A path with an output of its own that these rules block."""
        rules, paths, outputs = into
        for name in (self._copied(n) if suffix else n for n in names):
            rules[name] = replace(rules[name], blocks=(*rules[name].blocks, Target(seen)))
        paths[seen] = Path(seen, Flow((), ()), outputs=(seen,))
        outputs[seen] = Output(seen, unit, (seen,), Contact.NORMALLY_OPEN, DeviceInput.CLOSED)


def obeyed_at_once(outputs: Mapping[str, Output]) -> dict[str, Output]:
    """The outputs with devices that take no time to obey."""
    now = Delay(0, 0)
    return {name: replace(output, stops_within=now, starts_within=now) for name, output in outputs.items()}


def _anything(scheme: Scheme) -> tuple[Mapping[str, Quantity], Mapping[str, Sensor]]:
    """Sensors that read anything, valid or not, each by itself: what stands in the place of an element may be that."""
    quantities: dict[str, Quantity] = {}
    sensors: dict[str, Sensor] = {}
    for name, sensor in scheme.sensors.items():
        truth = f"{name} reads"
        quantities[truth] = Quantity(truth, sensor.kind, Interval(sensor.valid.low - 1, sensor.valid.high + 1))
        sensors[name] = Sensor(name, sensor.kind, (SensorError(truth, Interval(0, 0)),), sensor.valid)
    return quantities, sensors
