"""Two schemes side by side as one: told the same readings and lines, what acts alike in both taken once.

Sensors read anything at any scan; so may external and confirming lines. Each scheme has its own paths and outputs.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from interlock.compare.alike import Colour, Item, Side, as_told, colours
from interlock.records import replace
from interlock.scheme.bare import with_parts
from interlock.scheme.model import (
    AnyOf,
    Condition,
    Flow,
    Interval,
    Line,
    Output,
    Path,
    Quantity,
    Reading,
    Rule,
    Scheme,
    Sensor,
    SensorError,
    Target,
)
from interlock.scheme.words import LineForm, Signal, Word


class Which(Word):
    """The scheme before a change and after it."""

    OLD = "old"
    NEW = "new"


@dataclass(frozen=True)
class Merged:
    """`scheme`: both as one. `path`: what a path of one of them is called there. `alike`: the paths of both that are
    let run alike whatever is read. `sensors`: for each sensor there, its name in each scheme that has it. `sides`: the
    two as their controllers see them. `changed`: the rules there that only one of the two has. `rules_alike`: the rules
    of both, by name, that act alike whatever is read."""

    scheme: Scheme
    path: Mapping[tuple[Which, str], str]
    alike: frozenset[str]
    sensors: Mapping[str, Mapping[Which, str]]
    sides: Mapping[Which, Scheme]
    changed: frozenset[str]
    rules_alike: frozenset[str]


def merged(old: Scheme, new: Scheme) -> Merged:
    """Both as one. Raises ValueError where they do not scan alike."""
    if old.scan_us != new.scan_us:
        raise ValueError("the two do not scan alike")
    return _Merger({Which.OLD: Side(as_told(old)), Which.NEW: Side(as_told(new))}).merged()


class _Merger:
    def __init__(self, sides: Mapping[Which, Side]) -> None:
        self.sides = sides
        self.colour: dict[Which, dict[Item, Colour]] = dict(zip(sides, colours(*sides.values()), strict=True))
        self.sensors: dict[str, Sensor] = {}
        self.seen_by: dict[str, dict[Which, str]] = {}
        self.quantities: dict[str, Quantity] = {}
        self.readings: dict[str, Reading] = {}
        self._sensor_of: dict[tuple[Which, str], str] = {}
        self._reading_of: dict[tuple[Which, str], str] = {}
        self._names: dict[str, dict[Colour, str]] = {}
        self._taken: set[str] = set()
        self._see()

    def merged(self) -> Merged:
        for which, side in self.sides.items():
            for name in side.scheme.rules:
                self._part(which, ("rule", name))
        only = {c for w in Which for i, c in self.colour[w].items() if i[0] == "rule"} - self._shared("rule")
        changed = frozenset(n for c, n in self._names.get("rule", {}).items() if c in only)
        rules = self._rules()
        lines = self._lines()
        paths = {p.name: p for w, side in self.sides.items() for p in self._paths(w, side.scheme)}
        outputs = {o.name: o for w, side in self.sides.items() for o in self._outputs(w, side.scheme)}
        first = self.sides[Which.OLD].scheme
        units = tuple(dict.fromkeys(u for side in self.sides.values() for u in side.scheme.units))
        both = with_parts(
            replace(first, units=units, readings=self.readings),
            quantities=self.quantities,
            sensors=self.sensors,
            lines=lines,
            rules=rules,
            paths=paths,
            outputs=outputs,
        )
        second = self.sides[Which.NEW].scheme
        return Merged(
            both,
            {(w, p): self._on(w, p) for w, side in self.sides.items() for p in side.scheme.paths},
            self._alike("run", first.paths, second.paths),
            self.seen_by,
            {w: side.scheme for w, side in self.sides.items()},
            changed,
            self._alike("rule", first.rules, second.rules),
        )

    def _alike(self, kind: str, old: Iterable[str], new: Iterable[str]) -> frozenset[str]:
        """What both have by one name and of one colour."""
        before, after = (self.colour[which] for which in (Which.OLD, Which.NEW))
        return frozenset(name for name in set(old) & set(new) if before[kind, name] == after[kind, name])

    def _shared(self, kind: str) -> set[Colour]:
        return set.intersection(*({c for i, c in self.colour[w].items() if i[0] == kind} for w in Which))

    # --- what is seen

    def _see(self) -> None:
        """The sensors, those of one name and valid range as one; two of one name and kind read the same element."""
        by_name: dict[tuple[str, object], list[tuple[Which, Sensor]]] = {}
        for which, side in self.sides.items():
            for sensor in side.scheme.sensors.values():
                by_name.setdefault((sensor.name, sensor.kind), []).append((which, sensor))
        for (name, _), found in by_name.items():
            low, high = min(s.valid.low for _, s in found), max(s.valid.high for _, s in found)
            several_kinds = sum(n == name for n, _kind in by_name) > 1
            element = f"{name} reads" + (f" ({found[0][0]})" if several_kinds else "")
            # a reading may be invalid, so what is read may lie just outside
            self.quantities[element] = Quantity(element, found[0][1].kind, Interval(low - 1, high + 1))
            ranges = {sensor.valid for _, sensor in found}
            for which, sensor in found:
                mine = name if len(ranges) == 1 and not several_kinds else f"{name} ({which})"
                error = (SensorError(element, Interval(0, 0)),)
                self.sensors[mine] = Sensor(mine, sensor.kind, error, sensor.valid)
                self.seen_by.setdefault(mine, {})[which] = name
                self._sensor_of[which, name] = mine
        for which, side in self.sides.items():
            for reading in side.scheme.readings.values():
                sensors = tuple(self._sensor_of[which, s] for s in reading.sensors)
                record = replace(reading, sensors=sensors, why="")
                same = self.readings.get(reading.name)
                mine = reading.name if same in (None, record) else f"{reading.name} ({which})"
                self.readings[mine] = replace(record, name=mine)
                self._reading_of[which, reading.name] = mine

    # --- names

    def _part(self, which: Which, item: Item) -> str:
        """The name of a rule or a sent line: its own where no other of another colour has it."""
        names = self._names.setdefault(item[0], {})
        colour = self.colour[which][item]
        if colour not in names:
            wanted = item[1]
            other = {Which.OLD: Which.NEW, Which.NEW: Which.OLD}[which]
            alone = self.colour[other].get(item, colour) == colour
            name = wanted if alone and wanted not in self._taken else f"{wanted} ({which})"
            while name in self._taken:
                name += "'"
            self._taken.add(name)
            names[colour] = name
        return names[colour]

    def _on(self, which: Which, path: str) -> str:
        return f"{path} ({which})"

    def _told(self, which: Which, unit: str, path: str) -> str:
        """The path there that a unit commands as it does this one: the first that acts alike, so that rules that look
        at either are one."""
        colour = self.colour[which]["command", unit, path]
        for w in Which:
            for item, other in self.colour[w].items():
                if item[0] == "command" and item[1] == unit and other == colour:
                    return self._on(w, item[2])
        raise AssertionError("a part has its own colour")

    def _line(self, which: Which, name: str) -> str:
        if not name:
            return ""
        return self._part(which, ("sent", name)) if self.sides[which].scheme.lines[name].form.sent else name

    def _condition(self, which: Which, unit: str, c: Condition) -> Condition:
        return replace(c, name=self._seen(which, unit, c.signal, c.name))

    def _seen(self, which: Which, unit: str, signal: Signal, name: str) -> str:
        match signal:
            case Signal.SENSOR:
                return self._sensor_of[which, name]
            case Signal.READING:
                return self._reading_of[which, name]
            case Signal.LINE:
                return self._line(which, name)
            case Signal.PATH:
                return self._told(which, unit, name)
            case Signal.RULE:
                return self._part(which, ("rule", name))
            case Signal.QUANTITY:
                raise AssertionError("no unit sees the truth")

    # --- parts

    def _rules(self) -> dict[str, Rule]:
        found: dict[str, Rule] = {}
        blocks: dict[str, dict[Target, None]] = {}
        starts: dict[str, dict[str, None]] = {}
        for which, side in self.sides.items():
            for rule in side.scheme.rules.values():
                name = self._part(which, ("rule", rule.name))
                if name not in found:
                    found[name] = replace(
                        rule,
                        name=name,
                        watched=self._seen(which, rule.unit, rule.watches, rule.watched),
                        reset_by=self._line(which, rule.reset_by),
                        only_while=tuple(self._condition(which, rule.unit, c) for c in rule.only_while),
                        overridden_by=self._line(which, rule.overridden_by),
                        alarm="",
                        why="",
                    )
                for target in rule.blocks:
                    when = self._modes(which, rule.unit, target.when)
                    blocks.setdefault(name, {})[Target(self._on(which, target.path), when)] = None
                for path in rule.starts:
                    starts.setdefault(name, {})[self._on(which, path)] = None
        return {
            n: replace(r, blocks=tuple(blocks.get(n, ())), starts=tuple(starts.get(n, ()))) for n, r in found.items()
        }

    def _modes(self, which: Which, unit: str, when: AnyOf) -> AnyOf:
        return tuple(tuple(self._condition(which, unit, c) for c in alternative) for alternative in when)

    def _lines(self) -> dict[str, Line]:
        found: dict[str, Line] = {}
        for which, side in self.sides.items():
            for line in side.scheme.lines.values():
                name = self._line(which, line.name)
                if line.form.sent:
                    rules = tuple(self._part(which, ("rule", r)) for r in line.rules)
                    found[name] = Line(name, line.form, rules=tuple(dict.fromkeys(rules)), unit=line.unit)
                else:
                    found[name] = Line(name, LineForm.EXTERNAL)
        return found

    def _paths(self, which: Which, scheme: Scheme) -> Iterable[Path]:
        for path in scheme.paths.values():
            yield Path(
                self._on(which, path.name),
                Flow((), ()),
                behind=self._on(which, path.behind) if path.behind else "",
                unswitched=path.unswitched,
                outputs=tuple(self._on(which, o) for o in path.outputs),
                started_by=path.started_by,
            )

    def _outputs(self, which: Which, scheme: Scheme) -> Iterable[Output]:
        for output in scheme.outputs.values():
            yield replace(
                output,
                name=self._on(which, output.name),
                drives=tuple(self._on(which, p) for p in output.drives),
                why="",
            )
