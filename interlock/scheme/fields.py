"""The keys of one entry of a scheme, read by their forms. Every fault is noted; a value that can't be read is None."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from fractions import Fraction
from typing import TypeVar

from msgspec import Struct, field

from interlock.elements.records import Rated
from interlock.scheme.findings import Finding
from interlock.scheme.grammar import (
    GrammarError,
    Measure,
    Span,
    WrittenTie,
    WrittenTrigger,
    nearest,
    read_span,
    read_tie,
    read_time,
    read_trigger,
    read_value,
)
from interlock.scheme.idents import READER_FINDINGS
from interlock.scheme.keys import KEYS, NESTED, Form, Key, Nested, Section
from interlock.scheme.physical import Dimension, read_plain_number, read_rated
from interlock.scheme.source import Place
from interlock.scheme.tree import Entry, MappingNode, Node, Scalar, SequenceNode, kind_of, shortened
from interlock.scheme.words import Word

T = TypeVar("T")
W = TypeVar("W", bound=Word)

YES = {"yes": True, "true": True, "no": False, "false": False}
ON = {"on": True, "off": False}
NAME = re.compile(r"[^\W\d_][\w-]{0,79}\Z")
MOST_LISTED = 12


class Log(Struct):
    """Findings as they are met."""

    findings: list[Finding] = field(default_factory=list)

    def report(
        self, ident: str, message: str, place: Place, hint: str = "", also: tuple[tuple[Place, str], ...] = ()
    ) -> None:
        """Note one fault."""
        assert ident in READER_FINDINGS, ident
        self.findings.append(Finding(ident, message, place, hint, also))


class Named(Struct, frozen=True):
    """A name as written, with its place."""

    text: str
    place: Place


class Written(Struct, frozen=True):
    """A test or trigger as written under a name, with its node."""

    name: Named
    trigger: WrittenTrigger
    node: Scalar


def listed(names: Iterable[str]) -> str:
    """The allowed names, for a message; a long list is cut."""
    names = list(names)
    shown = ", ".join(f"`{n}`" for n in names[:MOST_LISTED])
    more = len(names) - MOST_LISTED
    return shown + (f" and {more} more" if more > 0 else "") if names else "nothing"


class Fields:
    """One entry's keys. `name` and `place` are the entry's own."""

    def __init__(self, log: Log, section: Section | Nested, name: str, place: Place, node: MappingNode) -> None:
        self.log, self.section, self.name, self.place = log, section, name, place
        self._keys = {key.name: key for key in (NESTED[section] if isinstance(section, Nested) else KEYS[section])}
        self._nodes: dict[str, Entry] = {}
        for entry in node.entries:
            key = entry.key.text
            if key in self._keys:
                self._nodes[key] = entry
                continue
            near = nearest(key, self._keys)
            self.log.report(
                "unknown-key",
                f"`{shortened(key)}` is no key of {section}",
                entry.key.place,
                near or "allowed: " + ", ".join(self._keys),
            )
        for known in self._keys.values():
            if known.required and known.name not in self._nodes:
                self.log.report(
                    "missing-key",
                    f"`{name}` has no `{known.name}`",
                    place,
                    f"{known.name}: {known.says} ({known.form})",
                )

    def has(self, key: str) -> bool:
        """Whether the key is given."""
        return key in self._nodes

    def given(self) -> list[str]:
        """The known keys that are given, in their order."""
        return list(self._nodes)

    def says(self, key: str) -> str:
        """What a key says."""
        return self._keys[key].says

    def key_place(self, key: str) -> Place:
        """Where the key stands; the entry's place where it is not given."""
        return self._nodes[key].key.place if key in self._nodes else self.place

    def value_place(self, key: str) -> Place:
        """Where its value stands; the entry's place where it is not given."""
        return self._nodes[key].value.place if key in self._nodes else self.place

    def part(self, key: str, start: int, length: int) -> Place:
        """The place of a part of a key's text."""
        node = self._nodes[key].value
        return node.part(start, length) if isinstance(node, Scalar) else node.place

    def _node(self, key: str, form: Form) -> Node | None:
        assert self._keys[key].form is form, f"{self.section}.{key} is {self._keys[key].form}, read as {form}"
        return self._nodes[key].value if key in self._nodes else None

    def _scalar(self, key: str, form: Form) -> Scalar | None:
        node = self._node(key, form)
        return self._as_scalar(node, key, self._keys[key]) if node is not None else None

    def _as_scalar(self, node: Node, key: str, expected: Key) -> Scalar | None:
        if isinstance(node, Scalar) and node.text.strip():
            return node
        self.log.report(
            "bad-value", f"`{key}` holds {kind_of(node)}", node.place, f"expected: {expected.says} ({expected.form})"
        )
        return None

    def _parse(self, node: Scalar, parser: Callable[[str], T]) -> T | None:
        return parsed(self.log, node, parser)

    def text(self, key: str) -> str:
        """A text for people; "" where none is given."""
        node = self._scalar(key, Form.TEXT)
        return node.text.strip() if node else ""

    def named(self, key: str) -> Named | None:
        """A name."""
        node = self._scalar(key, Form.NAME)
        return Named(node.text, node.place) if node else None

    def names(self, key: str) -> list[Named]:
        """A name or a list of names; [] where none is given. Doubles are faults."""
        return self._name_list(key, Form.NAMES)

    def fault_names(self, key: str) -> list[Named]:
        """A fault or a list of faults."""
        return self._name_list(key, Form.FAULTS)

    def _name_list(self, key: str, form: Form) -> list[Named]:
        node = self._node(key, form)
        return name_list(self.log, key, node) if node is not None else []

    def value(self, key: str) -> Measure | None:
        """A value with its unit."""
        node = self._scalar(key, Form.VALUE)
        return self._parse(node, read_value) if node else None

    def rated(self, key: str) -> Rated | None:
        """A value with its unit and its tolerance."""
        node = self._scalar(key, Form.RATED)
        dimension = self._keys[key].dimension
        assert dimension is not None, key
        return self._parse(node, lambda text: read_rated(text, dimension)) if node else None

    def numbers(self, key: str, count: int) -> tuple[Fraction, ...] | None:
        """A list of so many plain numbers."""
        node = self._node(key, Form.COEFFICIENTS)
        if node is None:
            return None
        items = node.items if isinstance(node, SequenceNode) else []
        scalars = [item for item in items if isinstance(item, Scalar)]
        if len(scalars) != count or len(items) != count:
            self.log.report("bad-value", f"`{key}` is no list of {count} numbers", node.place, self._keys[key].says)
            return None
        found = [self._parse(item, read_plain_number) for item in scalars]
        read = tuple(number for number in found if number is not None)
        return read if len(read) == count else None

    def nested(self, key: str, form: Form, section: Nested) -> Fields | None:
        """A mapping with keys of its own; None (reported) where it is none."""
        node = self._node(key, form)
        if node is None:
            return None
        if isinstance(node, MappingNode):
            return Fields(self.log, section, self.name, self.key_place(key), node)
        self.log.report("bad-value", f"`{key}` holds {kind_of(node)}", node.place, f"expected {form}")
        return None

    def span(self, key: str) -> Span | None:
        """`low to high`."""
        node = self._scalar(key, Form.SPAN)
        return self._parse(node, read_span) if node else None

    def time(self, key: str) -> int | None:
        """A time in microseconds."""
        node = self._scalar(key, Form.TIME)
        return self._parse(node, read_time) if node else None

    def tie(self, key: str) -> WrittenTie | None:
        """Another quantity, plus or minus a difference."""
        node = self._scalar(key, Form.TIE)
        return self._parse(node, read_tie) if node else None

    def trigger(self, key: str) -> WrittenTrigger | None:
        """A condition and a time."""
        node = self._scalar(key, Form.TRIGGER)
        return self._parse(node, read_trigger) if node else None

    def word(self, key: str, words: type[W]) -> W | None:
        """One of a closed set of words."""
        node = self._scalar(key, Form.WORD)
        assert self._keys[key].words is words, f"{self.section}.{key}"
        table = {str(word): word for word in words}
        return self._from(table, key, node) if node else None

    def yes_no(self, key: str) -> bool | None:
        """yes or no."""
        node = self._scalar(key, Form.YES_NO)
        return self._from(YES, key, node) if node else None

    def on_off(self, key: str) -> bool | None:
        """on or off."""
        node = self._scalar(key, Form.ON_OFF)
        return self._from(ON, key, node) if node else None

    def _from(self, table: Mapping[str, T], key: str, node: Scalar) -> T | None:
        if node.text in table:
            return table[node.text]
        near = nearest(node.text, table)
        allowed = "allowed: " + ", ".join(table)
        self.log.report(
            "unknown-word",
            f"`{shortened(node.text)}` is no word for `{key}`",
            node.place,
            f"{near} {allowed}" if near else allowed,
        )
        return None

    def count(self, key: str) -> int | None:
        """A whole number from 1."""
        node = self._scalar(key, Form.COUNT)
        if node is None:
            return None
        if re.fullmatch(r"[0-9]{1,9}", node.text) and int(node.text) > 0:
            return int(node.text)
        self.log.report("bad-value", f"`{shortened(node.text)}` is no whole number from 1", node.place, "such as 2")
        return None

    def rate(self, key: str) -> float | None:
        """Failures per hour: `2e-7 per h`."""
        node = self._scalar(key, Form.RATE)
        if node is None:
            return None
        found = re.fullmatch(r"(\d+(?:\.\d+)?(?:[eE][+-]?\d{1,2})?) per h", node.text)
        if found and 0 < float(found[1]) <= 1:
            return float(found[1])
        self.log.report(
            "bad-value", f"`{shortened(node.text)}` is no rate", node.place, "write failures per hour: `2e-7 per h`"
        )
        return None

    def per_name(self, key: str, form: Form, parser: Callable[[str], T]) -> list[tuple[Named, T, Scalar]]:
        """A mapping of names to values of one small form."""
        node = self._node(key, form)
        if node is None:
            return []
        if not isinstance(node, MappingNode):
            self.log.report("bad-value", f"`{key}` holds {kind_of(node)}", node.place, f"expected: {form}")
            return []
        found = []
        for entry in node.entries:
            name = Named(entry.key.text, entry.key.place)
            if not isinstance(entry.value, Scalar) or not entry.value.text.strip():
                self.log.report(
                    "bad-value",
                    f"`{shortened(name.text)}` holds {kind_of(entry.value)}",
                    entry.value.place,
                    f"expected: {form}",
                )
                continue
            value = self._parse(entry.value, parser)
            if value is not None:
                found.append((name, value, entry.value))
        if not node.entries:
            self.log.report("bad-value", f"`{key}` is empty", node.place, f"expected: {form}")
        return found

    def rows(self, key: str) -> list[tuple[Named, Rated, Scalar]]:
        """temperature: resistance; the temperatures as names, for `parse_at`."""
        return self.per_name(key, Form.ROWS, lambda text: read_rated(text, Dimension.RESISTANCE))

    def parse_at(self, named: Named, parser: Callable[[str], T]) -> T | None:
        """What stands in the place of a name, through one of the small grammars."""
        try:
            return parser(named.text)
        except GrammarError as error:
            self.log.report(error.ident, error.message, named.place, error.hint)
            return None

    def measures(self, key: str) -> list[tuple[Named, Span, Scalar]]:
        """quantity: low to high."""
        return self.per_name(key, Form.MEASURES, read_span)

    def charges_to(self, key: str) -> list[tuple[Named, Measure, Scalar]]:
        """quantity: value."""
        return self.per_name(key, Form.CHARGES_TO, read_value)

    def acts_at(self, key: str) -> list[tuple[Named, WrittenTrigger, Scalar]]:
        """quantity: condition for time."""
        return self.per_name(key, Form.ACTS_AT, read_trigger)

    def measured(self, key: str) -> list[Named] | None:
        """The names of quantities alone, where that is what stands there."""
        node = self._node(key, Form.MEASURES)
        return None if node is None or isinstance(node, MappingNode) else name_list(self.log, key, node)

    def errors(self, key: str) -> Span | list[tuple[Named, Span, Scalar]] | None:
        """One interval, or one per quantity."""
        node = self._node(key, Form.ERRORS)
        if node is None:
            return None
        if isinstance(node, MappingNode):
            return self.per_name(key, Form.ERRORS, read_span)
        scalar = self._scalar(key, Form.ERRORS)
        return self._parse(scalar, read_span) if scalar else None

    def conditions(self, key: str) -> list[Written]:
        """name: condition, all of which must hold."""
        return [Written(*found) for found in self.per_name(key, Form.CONDITIONS, _untimed)]

    def conditions_or_list(self, key: str) -> list[Written]:
        """The same, or a list of such mappings."""
        node = self._node(key, Form.WHILE)
        if not isinstance(node, SequenceNode):
            return [Written(*found) for found in self.per_name(key, Form.WHILE, _untimed)]
        found: list[Written] = []
        for item in node.items:
            if isinstance(item, MappingNode) and item.entries:
                found.extend(conditions_of(self.log, item))
            else:
                self.log.report("bad-value", f"`{key}` lists {kind_of(item)}", item.place, f"expected: {Form.WHILE}")
        if not node.items:
            self.log.report("bad-value", f"`{key}` is empty", node.place, f"expected: {Form.WHILE}")
        return found

    def node(self, key: str, form: Form) -> Node | None:
        """The bare node, for forms that their section reads itself."""
        return self._node(key, form)


def _untimed(text: str) -> WrittenTrigger:
    return read_trigger(text, timed=False)


def parsed(log: Log, node: Scalar, parser: Callable[[str], T]) -> T | None:
    """A text through one of the small grammars; its fault is noted at its place in the file."""
    try:
        return parser(node.text)
    except GrammarError as error:
        log.report(error.ident, error.message, node.part(error.start, error.length), error.hint)
        return None


def conditions_of(log: Log, node: MappingNode) -> list[Written]:
    """The conditions of one mapping."""
    found = []
    for entry in node.entries:
        if not isinstance(entry.value, Scalar) or not entry.value.text.strip():
            log.report(
                "bad-value",
                f"`{shortened(entry.key.text)}` holds {kind_of(entry.value)}",
                entry.value.place,
                "expected a condition such as `below 0 degC` or `on`",
            )
            continue
        trigger = parsed(log, entry.value, _untimed)
        if trigger:
            found.append(Written(Named(entry.key.text, entry.key.place), trigger, entry.value))
    return found


def name_list(log: Log, key: str, node: Node) -> list[Named]:
    """A name or a list of names. Doubles and empty lists are faults."""
    items = node.items if isinstance(node, SequenceNode) else [node]
    found: dict[str, Named] = {}
    for item in items:
        if not isinstance(item, Scalar) or not item.text.strip():
            log.report("bad-value", f"`{key}` lists {kind_of(item)}", item.place, "expected a name")
        elif item.text in found:
            log.report(
                "named-twice",
                f"`{shortened(item.text)}` is named twice in `{key}`",
                item.place,
                "name it once",
                ((found[item.text].place, "first named here"),),
            )
        else:
            found[item.text] = Named(item.text, item.place)
    if not items:
        log.report("bad-value", f"`{key}` is an empty list", node.place, "name at least one")
    return list(found.values())
