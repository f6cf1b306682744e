"""The catalogue of faults that follows from a scheme: one per part and mode."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from interlock.scheme.model import Fault, Line, Output, Path, Rule, Sensor, SensorError
from interlock.scheme.order import LoopError, in_order
from interlock.scheme.words import MODES, Mode, Part, Signal


def fault_name(mode: Mode, *parts: str) -> str:
    """`PART.mode`, or `A~B.swapped`."""
    return f"{'~'.join(parts)}.{mode}"


def derived_faults(
    units: Sequence[str],
    sensors: Mapping[str, Sensor],
    lines: Mapping[str, Line],
    rules: Mapping[str, Rule],
    paths: Mapping[str, Path],
    outputs: Mapping[str, Output],
) -> tuple[dict[str, Fault], dict[str, tuple[Fault, str]]]:
    """The faults by name in the scheme's order, and those that have no meaning, each with its reason."""
    found: dict[str, Fault] = {}
    for part, names in (
        (Part.SENSOR, sensors),
        (Part.LINE, lines),
        (Part.OUTPUT, outputs),
        (Part.PATH, paths),
        (Part.UNIT, dict.fromkeys(units)),
        (Part.RULE, rules),
    ):
        for name in names:
            for mode in MODES[part]:
                error: tuple[SensorError, ...] = ()
                if part is Part.SENSOR and mode in (Mode.DRIFTED, Mode.MISPLACED):
                    sensor = sensors[name]
                    error = sensor.drifts if mode is Mode.DRIFTED else sensor.misplaced
                    if not error:
                        continue
                fault = Fault(fault_name(mode, name), part, mode, (name,), error)
                found[fault.name] = fault
    meaningless: dict[str, tuple[Fault, str]] = {}
    loops = _Loops(units, lines, rules)
    for fault in _swaps(units, sensors, lines, rules, outputs):
        loop = loops.closed_by(*fault.parts) if fault.part is Part.LINE else ""
        if loop:
            meaningless[fault.name] = (fault, f"exchanged, the two lines close a loop within one scan: {loop}")
        else:
            found[fault.name] = fault
    return found, meaningless


def _swaps(
    units: Sequence[str],
    sensors: Mapping[str, Sensor],
    lines: Mapping[str, Line],
    rules: Mapping[str, Rule],
    outputs: Mapping[str, Output],
) -> Iterator[Fault]:
    for a, b in combinations(outputs.values(), 2):
        if a.unit == b.unit:
            yield Fault(fault_name(Mode.SWAPPED, a.name, b.name), Part.OUTPUT, Mode.SWAPPED, (a.name, b.name))
    for one, other in combinations(sensors.values(), 2):
        if one.kind is other.kind:
            pair = (one.name, other.name)
            yield Fault(fault_name(Mode.SWAPPED, *pair), Part.SENSOR, Mode.SWAPPED, pair)
    read = _lines_read(rules, units)
    place = {name: i for i, name in enumerate(lines)}
    pairs = {pair for names in read.values() for pair in combinations(sorted(names, key=place.__getitem__), 2)}
    for pair in sorted(pairs, key=lambda pair: (place[pair[0]], place[pair[1]])):
        yield Fault(fault_name(Mode.SWAPPED, *pair), Part.LINE, Mode.SWAPPED, pair)


def _lines_read(rules: Mapping[str, Rule], units: Sequence[str]) -> dict[str, set[str]]:
    """The lines each unit's rules read."""
    seen: dict[str, set[str]] = {unit: set() for unit in units}
    for rule in rules.values():
        seen[rule.unit].update(rule.lines_read())
    return seen


class _Loops:
    """Which exchanges of lines would close a loop of rules within one scan."""

    def __init__(self, units: Sequence[str], lines: Mapping[str, Line], rules: Mapping[str, Rule]) -> None:
        self.rules = rules
        self.senders = {name: line.rules for name, line in lines.items()}
        self.read = _lines_read(rules, units)
        self.readers: dict[str, set[str]] = {}
        for rule in rules.values():
            for line in (rule.watched if rule.watches is Signal.LINE else "", rule.reset_by):
                if line:
                    self.readers.setdefault(line, set()).add(rule.name)
        self.behind: dict[str, set[str]] = {}  # for each rule that sends: itself and all it depends on
        for name in {n for names in self.senders.values() for n in names}:
            self.behind[name] = self._all_behind(name)

    def _all_behind(self, name: str) -> set[str]:
        found, waiting = {name}, [name]
        while waiting:
            rule = self.rules.get(waiting.pop())
            if rule is None:
                continue
            nearer = [rule.watched] if rule.watches is Signal.RULE else []
            for line in (rule.watched if rule.watches is Signal.LINE else "", rule.reset_by):
                nearer += self.senders.get(line, ())
            waiting += [n for n in nearer if n not in found]
            found.update(nearer)
        return found

    def closed_by(self, one: str, other: str) -> str:
        """The loop in words, or ""."""
        readers = self.readers.get(one, set()) | self.readers.get(other, set())
        if all(readers.isdisjoint(self.behind[n]) for line in (one, other) for n in self.senders[line]):
            return ""
        turned = {one: other, other: one}

        def source(unit: str, line: str) -> str:
            return turned.get(line, line) if {one, other} <= self.read[unit] else line

        try:
            in_order(self.rules, self.senders, source)
        except LoopError as error:
            return str(error)
        return ""
