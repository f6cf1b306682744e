"""Single changes to a scheme that may take faults off its list of single points of failure.

Each is an edit of the scheme's own text; nothing is judged here but how long a sensor may stand still.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from interlock.faults.judge import BUDGET, Answer, Judge
from interlock.proof.index import Index
from interlock.records import replace
from interlock.scheme.edit import Edit, EditError, SchemeText, quoted
from interlock.scheme.model import Claim, Delay, Limit, Line, Output, Rule, Scheme
from interlock.scheme.units import MICRO, time_text
from interlock.scheme.words import LineForm, Mode, Part, Signal, Word

# Times that people set for a reading that stands still; the longest that still helps is proposed.
STALE_TIMES = tuple(s * MICRO for s in (1, 2, 3, 5, 10, 15, 20, 30, 60, 120, 300, 600, 1800, 3600))

FOR_PEOPLE = ("terminal", "wire", "why")  # keys that say something of one part alone, so they are not copied


class ChangeKind(Word):
    """What is changed, the cheapest first: settings only, then added parts, then a part of another make."""

    STALE_AFTER = "stale_after"
    SECOND_RULE = "second_rule"
    SECOND_OUTPUT = "second_output"
    SECOND_SENSOR = "second_sensor"
    SECOND_CHANNEL = "second_channel"  # an output of another unit, with the rules that drive it
    EXCLUSION = "exclusion"


COST = {
    ChangeKind.STALE_AFTER: 0,
    ChangeKind.SECOND_RULE: 0,
    ChangeKind.SECOND_OUTPUT: 1,
    ChangeKind.SECOND_SENSOR: 1,
    ChangeKind.SECOND_CHANNEL: 2,
    ChangeKind.EXCLUSION: 3,
}
assert set(COST) == set(ChangeKind), set(ChangeKind) - set(COST)


@dataclass(frozen=True, slots=True)
class Change:
    """One change. `part`: what gets a time, a second one beside it, or is left out (then the fault's name).

    `added`: the new parts. `unit`: who evaluates or drives them. `rules`: those that are changed. `via`: the line or
    outputs through which a second rule stops something. `paths`: what is stopped. `value`: the time or the reason.
    `text`: the scheme file with the change.
    """

    kind: ChangeKind
    part: str
    text: str = field(repr=False)
    added: tuple[str, ...] = ()
    unit: str = ""
    rules: tuple[str, ...] = ()
    via: tuple[str, ...] = ()
    paths: tuple[str, ...] = ()
    value: str = ""


def changes(
    scheme: Scheme, source: SchemeText, points: Mapping[str, Sequence[str]], reasons: Mapping[str, str]
) -> list[Change]:
    """What could be tried. `points`: the single points of failure, each with the claims it violates alone. `reasons`:
    for faults that could be left out, what would have to back that."""
    work = _Work(scheme, source, points)
    found: list[Change] = []
    for make, items in (
        (work.stale_after, scheme.sensors),
        (work.second_rules, scheme.rules),
        (work.second_output, scheme.outputs),
        (work.second_sensor, scheme.sensors),
        (work.second_channels, scheme.outputs),
    ):
        for name in items:
            found += make(name)
    for fault in points:
        if fault in reasons:
            found += work.exclusion(fault, reasons[fault])
    return found


class _Work:
    def __init__(self, scheme: Scheme, source: SchemeText, points: Mapping[str, Sequence[str]]) -> None:
        self.scheme, self.source, self.points = scheme, source, points
        self.claims = {claim.name: claim for claim in scheme.claims}
        self.taken = {
            *scheme.quantities, *scheme.sensors, *scheme.readings, *scheme.lines, *scheme.rules, *scheme.groups,
            *scheme.paths, *scheme.outputs, *scheme.units, *scheme.faults, *scheme.excluded_faults,
        }  # fmt: skip

    # --- settings

    def stale_after(self, sensor: str) -> Iterator[Change]:
        """A time after which a reading that stands still is invalid."""
        if self.scheme.sensors[sensor].stale_after:
            return
        stuck = self._point(Part.SENSOR, sensor, Mode.STUCK)
        us = self._longest(sensor, stuck) if stuck else None
        if us is not None:
            value = time_text(us)
            yield from self._made(
                lambda edit: edit.add_key(("sensors", sensor), "stale_after", value),
                Change(ChangeKind.STALE_AFTER, sensor, "", value=value),
            )

    def _longest(self, sensor: str, stuck: str) -> int | None:
        """The longest of the usual times with which the stuck sensor violates nothing; None where none will do."""
        claims = sorted((self.claims[name] for name in self.points[stuck]), key=lambda claim: claim.longer_than.us)
        fit = [us for us in STALE_TIMES if us <= claims[0].longer_than.us]  # the strictest decides, mostly
        low, high = 0, len(fit)  # fit[:low] will do, fit[high:] will not
        while low < high:
            middle = (low + high) // 2
            if self._will_do(sensor, stuck, fit[middle], claims):
                low = middle + 1
            else:
                high = middle
        return fit[low - 1] if low else None

    def _will_do(self, sensor: str, stuck: str, us: int, claims: Iterable[Claim]) -> bool:
        delay = Delay(us, -(-us // self.scheme.scan_us))
        sensors = {**self.scheme.sensors, sensor: replace(self.scheme.sensors[sensor], stale_after=delay)}
        index = Index(replace(self.scheme, sensors=sensors))
        fault = [self.scheme.faults[stuck]]
        return all(Judge(index, claim, BUDGET).rule(fault).answer is Answer.HOLDS for claim in claims)

    def second_rules(self, name: str) -> Iterator[Change]:
        """The same rule in another unit, which stops the paths through what it has: a line it sends, its outputs."""
        rule = self.scheme.rules[name]
        paths = self._needed_on(rule)
        if not paths or not self._can_move(rule):
            return
        for unit in self.scheme.units:
            if unit == rule.unit:
                continue
            for line in self.scheme.lines.values():
                stopped = tuple(p for p in paths if p in self._stopped_by(line)) if line.unit == unit else ()
                if stopped and name not in line.rules:
                    yield from self._rule_on_line(rule, unit, line, stopped)
            outputs = [o for o in self.scheme.outputs.values() if o.unit == unit and set(o.drives) & set(paths)]
            if outputs:
                yield from self._rule_on_outputs(rule, unit, outputs, paths)

    def _rule_on_line(self, rule: Rule, unit: str, line: Line, paths: tuple[str, ...]) -> Iterator[Change]:
        second = self._free(rule.name)

        def edit(text: Edit) -> Edit:
            text.add_name(("lines", line.name, str(line.form)), second)
            return self._add_rule(text, rule, second, unit, ())

        yield from self._made(
            edit,
            Change(ChangeKind.SECOND_RULE, rule.name, "", (second,), unit, (rule.name,), (line.name,), paths),
        )

    def _rule_on_outputs(
        self, rule: Rule, unit: str, outputs: Sequence[Output], paths: tuple[str, ...]
    ) -> Iterator[Change]:
        second = self._free(rule.name)
        stopped = tuple(p for p in paths if any(p in o.drives for o in outputs))
        via = tuple(o.name for o in outputs)
        yield from self._made(
            lambda edit: self._add_rule(edit, rule, second, unit, stopped),
            Change(ChangeKind.SECOND_RULE, rule.name, "", (second,), unit, (rule.name,), via, stopped),
        )

    # --- parts

    def second_output(self, name: str) -> Iterator[Change]:
        """A second output of the same unit in series, with the settings of the first."""
        output = self.scheme.outputs[name]
        if not self._on_a_point(output):
            return
        second = self._free(name)
        yield from self._made(
            lambda edit: edit.add_entries("outputs", {second: self._copied("outputs", name)}, after=name),
            Change(ChangeKind.SECOND_OUTPUT, name, "", (second,), output.unit, paths=output.drives),
        )

    def second_channels(self, name: str) -> Iterator[Change]:
        """An output of another unit in series, with all that this unit needs to know when to stop the path."""
        output = self.scheme.outputs[name]
        if not self._on_a_point(output):
            return
        needed = [r for r in self.scheme.rules.values() if r.unit == output.unit and self._needed_by(r, output.drives)]
        for unit in self.scheme.units:
            if unit == output.unit or any(self.scheme.drives(unit, path) for path in output.drives):
                continue
            senders: dict[str, None] = {}
            second: dict[str, Rule] = {}
            for rule in needed:
                line = self.scheme.lines.get(rule.watched) if rule.watches is Signal.LINE else None
                if line is not None and line.unit == unit and self._trips_on(rule, line):
                    senders |= dict.fromkeys(line.rules)
                elif self._can_move(rule):
                    second[self._free(rule.name)] = rule
                else:
                    break
            else:
                if needed:
                    yield from self._channel(output, unit, tuple(senders), second)

    def _channel(
        self, output: Output, unit: str, senders: tuple[str, ...], second: Mapping[str, Rule]
    ) -> Iterator[Change]:
        name = self._free(output.name)
        paths = _names(output.drives)

        def edit(text: Edit) -> Edit:
            fields = {k: v for k, v in self._copied("outputs", output.name).items() if k != "unit"}
            text.add_entries("outputs", {name: {"unit": unit, **fields}}, after=output.name)
            for sender in senders:
                if self.source.find("rules", sender, "blocks") is None:
                    text.add_key(("rules", sender), "blocks", paths)
                else:
                    for path in output.drives:
                        text.add_name(("rules", sender, "blocks"), path)
            for added, rule in second.items():
                self._add_rule(text, rule, added, unit, output.drives)
            return text

        yield from self._made(
            edit,
            Change(
                ChangeKind.SECOND_CHANNEL, output.name, "", (name, *second), unit,
                (*senders, *(r.name for r in second.values())), paths=output.drives,
            ),
        )  # fmt: skip

    def second_sensor(self, name: str) -> Iterator[Change]:
        """A second sensor like the first; each rule that reads the first then reads the safe one of the two."""
        scheme = self.scheme
        if not any(self._is_of(fault, Part.SENSOR, name) for fault in self.points):
            return
        readers: dict[str, list[str]] = {}
        for rule in scheme.rules.values():
            if rule.watches is Signal.SENSOR and rule.watched == name and isinstance(rule.trips.test, Limit):
                side = "lowest" if rule.trips.test.compare.downward else "highest"
                readers.setdefault(side, []).append(rule.name)
        if not readers:
            return
        second = self._free(name)
        readings = {side: self._free(f"{name}_{side}", first=True) for side in readers}

        def edit(text: Edit) -> Edit:
            text.add_entries("sensors", {second: self._copied("sensors", name)}, after=name)
            both = f"[{name}, {second}]"
            text.add_entries("readings", {readings[s]: {f"{s}_of": both} for s in readers}, near="sensors")
            for side, rules in readers.items():
                for rule in rules:
                    text.replace(("rules", rule, "watches"), readings[side])
            for place, value in self._readings_set(name):
                text.add_key(place, second, value)
            return text

        rules = tuple(rule for rules in readers.values() for rule in rules)
        yield from self._made(
            edit, Change(ChangeKind.SECOND_SENSOR, name, "", (second, *readings.values()), rules=rules)
        )

    def _readings_set(self, sensor: str) -> Iterator[tuple[tuple[str | int, ...], str]]:
        """Where cases set the sensor, and to what: a second one has to be set too."""
        for case in self.scheme.cases:
            for number in range(len(case.steps)):
                place = ("cases", case.name, number, "set")
                if self.source.find(*place) is not None:
                    given = self.source.fields(*place)
                    if sensor in given:
                        yield place, given[sensor]

    # --- leaving out

    def exclusion(self, fault: str, reason: str) -> Iterator[Change]:
        """The fault left out of the catalogue, for a reason."""
        said = quoted(reason)

        def edit(text: Edit) -> Edit:
            if self.source.find("faults", fault) is not None:
                return text.add_key(("faults", fault), "excluded", said)
            return text.add_entries("faults", {fault: {"excluded": said}})

        yield from self._made(edit, Change(ChangeKind.EXCLUSION, fault, "", value=reason))

    # --- what the scheme says

    def _made(self, make: Callable[[Edit], Edit], change: Change) -> Iterator[Change]:
        """The change with its text, where it has a place in it."""
        try:
            yield replace(change, text=make(self.source.edit()).text)
        except EditError:
            return

    def _is_of(self, fault: str, part: Part, name: str) -> bool:
        return any(s.part is part and name in s.parts for s in self.scheme.faults[fault].single())

    def _point(self, part: Part, name: str, mode: Mode) -> str:
        """The single point of that part and mode alone; "" where there is none."""
        for fault in self.points:
            record = self.scheme.faults[fault]
            if not record.together and (record.part, record.mode, record.parts) == (part, mode, (name,)):
                return fault
        return ""

    def _on_a_point(self, output: Output) -> bool:
        return any(self._is_of(fault, Part.OUTPUT, output.name) for fault in self.points)

    def _needed_on(self, rule: Rule) -> tuple[str, ...]:
        """The paths of the claims that are violated without the rule."""
        omitted = self._point(Part.RULE, rule.name, Mode.OMITTED)
        return tuple(dict.fromkeys(self.claims[c].path for c in self.points[omitted])) if omitted else ()

    def _needed_by(self, rule: Rule, paths: Sequence[str]) -> bool:
        """Whether the rule stops one of these paths, and a claim on it needs that."""
        stopped = {t.path for t in rule.blocks} & set(paths)
        return bool(stopped & set(self._needed_on(rule)))

    def _can_move(self, rule: Rule) -> bool:
        """Whether any unit could evaluate it: what it looks at is no part of its own unit's memory."""
        if rule.starts or rule.watches not in (Signal.SENSOR, Signal.READING, Signal.LINE):
            return False
        return all(c.signal is Signal.LINE for c in rule.only_while) and all(
            not self.scheme.lines[line].form.sent for line in rule.lines_read()
        )

    def _trips_on(self, rule: Rule, line: Line) -> bool:
        """Whether the rule trips on the state that the line has while one of its own rules is active."""
        return line.form.sent and rule.trips.test is (line.form is LineForm.HIGH_WHEN)

    def _stopped_by(self, line: Line) -> set[str]:
        """What the rules of other units stop that trip while a rule of this line is active."""
        return {
            t.path
            for rule in self.scheme.rules.values()
            if rule.watches is Signal.LINE and rule.watched == line.name and self._trips_on(rule, line)
            for t in rule.blocks
        }

    def _copied(self, section: str, name: str) -> dict[str, str]:
        return {k: v for k, v in self.source.fields(section, name).items() if k not in FOR_PEOPLE}

    def _add_rule(self, text: Edit, rule: Rule, second: str, unit: str, paths: Sequence[str]) -> Edit:
        """The same rule in another unit, with effects of its own."""
        left_out = ("unit", "blocks", "alarm")
        fields = {k: v for k, v in self._copied("rules", rule.name).items() if k not in left_out}
        blocks = {"blocks": _names(paths)} if paths else {}
        return text.add_entries("rules", {second: {"unit": unit, **fields, **blocks}}, after=rule.name)

    def _free(self, name: str, *, first: bool = False) -> str:
        """A name like this one that nothing has yet: `K1b`, `probe_2`; with `first`, the name itself if it is free."""
        if first and name not in self.taken:
            return name
        tails = "bcdefghijklmnopqrstuvwxyz" if name[-1].isdigit() else [f"_{n}" for n in range(2, 100)]
        return next((name + tail for tail in tails if name + tail not in self.taken), name)


def _names(names: Sequence[str]) -> str:
    """One name, or several as a list."""
    return names[0] if len(names) == 1 else f"[{', '.join(names)}]"
