"""A scheme being built: the names it declares, the findings so far, and how a name is looked up."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec import Struct, field

from interlock.scheme.fields import NAME, Fields, Log, Named, Written, listed
from interlock.scheme.grammar import Measure, WrittenLimit, nearest
from interlock.scheme.keys import Section
from interlock.scheme.model import Condition, Delay, Limit, Test
from interlock.scheme.source import Place
from interlock.scheme.tree import Entry, MappingNode, Scalar, SequenceNode, kind_of, shortened
from interlock.scheme.units import Kind
from interlock.scheme.words import BUILT_IN_GROUPS, TWO_WORDS, Signal

_ARTICLE = {
    Section.QUANTITIES: "a quantity",
    Section.SENSORS: "a sensor",
    Section.READINGS: "a derived reading",
    Section.UNITS: "a unit",
    Section.LINES: "a line",
    Section.RULES: "a rule",
    Section.GROUPS: "a group",
    Section.PATHS: "a path",
    Section.OUTPUTS: "an output",
}
DECLARING = tuple(_ARTICLE)

SIGNAL_OF = {
    Section.QUANTITIES: Signal.QUANTITY,
    Section.SENSORS: Signal.SENSOR,
    Section.READINGS: Signal.READING,
    Section.LINES: Signal.LINE,
    Section.PATHS: Signal.PATH,
    Section.RULES: Signal.RULE,
}
assert set(SIGNAL_OF.values()) == set(Signal)


def _either(words: list[str]) -> str:
    """`a line, a path or a rule`."""
    return " or ".join(filter(None, (", ".join(words[:-1]), words[-1])))


class Draft(Struct):
    """What the builders share. `declared`: every name, with its section and place. `elements`: as for `read`."""

    log: Log
    root: MappingNode
    scan_us: int = 0
    declared: dict[str, tuple[Section, Place]] = field(default_factory=dict)
    kinds: dict[str, Kind] = field(default_factory=dict)  # of quantities, sensors and readings that could be read
    by_section: dict[Section, list[str]] = field(default_factory=dict)
    differences: set[str] = field(default_factory=set)  # readings whose values are differences
    elements: bool = True

    def delay(self, us: int | None) -> Delay:
        """A time and the scans it takes, rounded up; 0 where none was given or it couldn't be read."""
        return Delay(us or 0, -(-(us or 0) // self.scan_us) if self.scan_us else 0)

    def names(self, *sections: Section) -> list[str]:
        """The names declared in these sections, each section in the file's order."""
        return [name for section in sections for name in self.by_section.get(section, ())]

    def entries(self, section: Section) -> Iterator[tuple[Entry, bool]]:
        """The entries of a section that is a mapping, and whether each entry's name was accepted."""
        node = self.root.get(str(section))
        if isinstance(node, MappingNode):
            for entry in node.entries:
                known = self.declared.get(entry.key.text)
                yield entry, known is not None and known == (section, entry.key.place)

    def declare(self) -> None:
        """Take in the names of all sections, and report bad, reserved and double ones, and sections that are none."""
        for section in Section:
            node = self.root.get(str(section))
            if section not in DECLARING and node is not None and not (isinstance(node, MappingNode) and node.entries):
                self.log.report(
                    "bad-value", f"`{section}` holds {kind_of(node)}", node.place, "expected a mapping of names"
                )
        for section in DECLARING:
            node = self.root.get(str(section))
            if node is None:
                continue
            keys = [e.key for e in node.entries] if isinstance(node, MappingNode) else []
            if section is Section.UNITS and isinstance(node, SequenceNode):
                keys = [item for item in node.items if isinstance(item, Scalar)]
                for item in node.items:
                    if not isinstance(item, Scalar):
                        self.log.report("bad-value", f"`units` lists {kind_of(item)}", item.place, "expected a name")
            elif not isinstance(node, MappingNode):
                also = " or a list of names" if section is Section.UNITS else ""
                self.log.report(
                    "bad-value", f"`{section}` holds {kind_of(node)}", node.place, f"expected a mapping of names{also}"
                )
            if not keys and isinstance(node, MappingNode | SequenceNode):
                self.log.report("bad-value", f"`{section}` is empty", node.place, "fill it or leave it out")
            for key in keys:
                self._declare(section, key)

    def _declare(self, section: Section, key: Scalar) -> None:
        name = key.text
        if not NAME.match(name):
            self.log.report(
                "bad-name",
                f"`{shortened(name)}` can't be a name",
                key.place,
                "a name is a letter, then letters, digits, _ and -, 80 at most",
            )
        elif name in BUILT_IN_GROUPS:
            self.log.report("reserved-name", f"`{name}` is a built-in group", key.place, "choose another name")
        elif name in self.declared:
            other, place = self.declared[name]
            self.log.report(
                "name-used-twice",
                f"`{name}` is {_ARTICLE[other]} already",
                key.place,
                "a name means one thing in a scheme: choose another",
                ((place, "first used here"),),
            )
        else:
            self.declared[name] = (section, key.place)
            self.by_section.setdefault(section, []).append(name)

    def fields(self, section: Section, entry: Entry) -> Fields | None:
        """An entry's keys, or None (reported) where it is no mapping."""
        if isinstance(entry.value, MappingNode):
            return Fields(self.log, section, entry.key.text, entry.key.place, entry.value)
        self.log.report(
            "bad-value",
            f"`{shortened(entry.key.text)}` holds {kind_of(entry.value)}",
            entry.value.place,
            f"expected a mapping of the keys of {section}",
        )
        return None

    def find(self, named: Named | None, *sections: Section, also: tuple[str, ...] = ()) -> str:
        """A name that must be declared in one of these sections, or be one of `also`; "" (reported) where it is not."""
        if named is None:
            return ""
        name = named.text
        if name in also or (name in self.declared and self.declared[name][0] in sections):
            return name
        wanted = _either([_ARTICLE[s] for s in sections])
        known = (*self.names(*sections), *also)
        if name in self.declared:
            section, place = self.declared[name]
            self.log.report(
                "wrong-kind-of-name",
                f"`{name}` is {_ARTICLE[section]}, not {wanted}",
                named.place,
                f"known here: {listed(known)}",
                ((place, "declared here"),),
            )
        else:
            self.log.report(
                "unknown-name",
                f"no {_either([_ARTICLE[s].split(' ', 1)[1] for s in sections])} is called `{shortened(name)}`",
                named.place,
                nearest(name, known) or f"known here: {listed(known)}",
            )
        return ""

    def conditions(self, written: list[Written], *sections: Section) -> tuple[Condition, ...]:
        """Conditions whose names must be declared in these sections. What can't be read is reported and left out."""
        found = []
        for one in written:
            name = self.find(one.name, *sections)
            if not name:
                continue
            signal = SIGNAL_OF[self.declared[name][0]]
            test = self.test(name, signal, one.trigger.test, one.node.part(one.trigger.start, one.trigger.length))
            if test is not None:
                found.append(Condition(signal, name, test, one.name.place))
        return tuple(found)

    def test(self, name: str, signal: Signal, written: WrittenLimit | str, place: Place) -> Test | None:
        """A test as written, held against what it looks at: a limit of the right kind, or the right word."""
        if signal.numeric:
            if not isinstance(written, WrittenLimit):
                self.log.report(
                    "wrong-condition", f"`{written}` says nothing about `{name}`", place, self._limit_hint(name)
                )
                return None
            measure = written.measure
            if name in self.kinds and not self.fits(measure, self.kinds[name], difference=name in self.differences):
                self.log.report(
                    "wrong-unit",
                    f"`{measure.unit.symbol}` does not fit `{name}`",
                    place,
                    self._limit_hint(name),
                    ((self.declared[name][1], "declared here"),),
                )
                return None
            return Limit(written.compare, measure.micro)
        true, false = TWO_WORDS[signal]
        if written == true:
            return True
        if written == false:
            return False
        shown = written if isinstance(written, str) else str(written.compare)
        self.log.report(
            "wrong-condition",
            f"`{shown}` says nothing about `{name}`, which is {_ARTICLE[self.declared[name][0]]}",
            place,
            f"expected `{true}` or `{false}`",
        )
        return None

    def _limit_hint(self, name: str) -> str:
        kind = self.kinds.get(name)
        if kind is None:
            return "expected a limit such as `below 3 degC`"
        unit = kind.difference_unit if name in self.differences else str(kind)
        what = "a difference" if name in self.differences else f"a {kind.noun}"
        return f"expected {what}: `below …` or `above …` and a value in {unit}"

    def fits(self, measure: Measure, kind: Kind, *, difference: bool) -> bool:
        """Whether a written value is one of that kind, as a difference or as an absolute value."""
        return measure.unit.kind is kind and (measure.unit.difference if difference else measure.unit.absolute)
