"""What people saw of an installation in service, as statements that all held together for a time.

    --seen "roof_pv stopped, coldest_cell 20 degC, charge_level 38 to 42 %, charge_permit on, for 10 min"

or a file with several moments:

    moments:
      - {roof_pv: stopped, coldest_cell: 20 degC, charge_permit: on, for: 10 min}
      - {roof_pv: running, coldest_cell: above 25 degC}
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from interlock.plan.sheet import sides
from interlock.plan.sights import Sight, SightKind
from interlock.scheme.findings import Finding, SchemeError
from interlock.scheme.grammar import GrammarError, WrittenLimit, nearest, read_span, read_time, read_trigger, read_value
from interlock.scheme.model import Interval, Scheme
from interlock.scheme.source import NOWHERE, Place, Source
from interlock.scheme.tree import MappingNode, Node, Scalar, SequenceNode, kind_of, parse_tree, shortened
from interlock.scheme.units import Kind, Unit
from interlock.scheme.words import Combine, Word

IDENT = "no-observation"
_EXPECTED = "such as `roof_pv stopped`, `coldest_cell 20 degC` or `for 10 min`"
PLAIN_READINGS = (Combine.LOWEST_OF, Combine.HIGHEST_OF, Combine.DIFFERENCE_OF)


class Of(Word):
    """What a statement is about."""

    QUANTITY = "quantity"  # its truth, as another instrument or a look tells it
    READING = "reading"  # what the installation itself shows for a sensor or derived reading
    VALID = "valid"  # whether a sensor's or derived reading is valid
    PATH = "path"
    LINE = "line"  # what is really on it, at the sender's own terminal
    ALARM = "alarm"
    RULE = "rule"  # whether it is active
    DEVICE = "device"  # what an output's device sees at its own input


@dataclass(frozen=True, slots=True)
class Statement:
    """One thing seen. `value`: an interval in millionths for a quantity or a reading, else true for the first of the
    two words: running, on, sounding, active, valid, closed (high)."""

    of: Of
    name: str
    value: Interval | bool
    words: str  # as it was given
    place: Place = NOWHERE


@dataclass(frozen=True, slots=True)
class Moment:
    """Statements that all held, at every scan, for `us` microseconds until the last of them."""

    statements: tuple[Statement, ...]
    us: int
    words: str


def from_text(scheme: Scheme, text: str) -> Moment:
    """One moment as it is given on the command line. Raises SchemeError with all that is wrong."""
    reader = _Reader(scheme)
    parts: list[tuple[str, Place, str, Callable[[int, int], Place]]] = []
    start = 0
    for piece in text.split(","):
        at = start + len(piece) - len(piece.lstrip())
        stripped = piece.strip()
        key, _, rest = stripped.partition(" ")
        value_at = at + len(key) + len(rest) - len(rest.lstrip()) + 1
        if stripped:
            parts.append(
                (key, Place(1, at + 1, len(key)), rest.strip(), _within(Place(1, value_at + 1, len(rest.strip()))))
            )
        start += len(piece) + 1
    if not parts:
        reader.wrong("nothing was seen", Place(1, 1), f"expected statements separated by commas, {_EXPECTED}")
    moment = reader.moment(iter(parts), " ".join(text.split()))
    reader.check()
    return moment


def from_source(scheme: Scheme, source: Source) -> tuple[Moment, ...]:
    """The moments of a file. Raises SchemeError with all that is wrong, each with its place."""
    root = parse_tree(source)
    reader = _Reader(scheme)
    for entry in root.entries:
        if entry.key.text != "moments":
            reader.wrong(f"`{shortened(entry.key.text)}` has no meaning here", entry.key.place, "expected `moments:`")
    listed = root.get("moments")
    moments: list[Moment] = []
    if not isinstance(listed, SequenceNode) or not listed.items:
        reader.wrong(
            "there is no list of `moments`",
            root.place if listed is None else listed.place,
            "expected `moments:` and a list, each such as `- {roof_pv: stopped, coldest_cell: 20 degC, for: 10 min}`",
        )
    else:
        for node in listed.items:
            if isinstance(node, MappingNode):
                words = ", ".join(f"{e.key.text} {e.value.text}" for e in node.entries if isinstance(e.value, Scalar))
                moments.append(reader.moment(reader.entries(node), words))
            else:
                reader.wrong(
                    f"{kind_of(node)} stands where a moment belongs", node.place, f"expected a mapping, {_EXPECTED}"
                )
    reader.check()
    return tuple(moments)


def _within(place: Place) -> Callable[[int, int], Place]:
    return place.part


class _Reader:
    """Statements by the scheme's names; what is wrong is kept with its place."""

    def __init__(self, scheme: Scheme) -> None:
        self.scheme = scheme
        self.findings: list[Finding] = []
        self.known = [
            *scheme.quantities, *scheme.sensors, *scheme.readings, *scheme.paths, *scheme.lines, *scheme.rules,
            *scheme.outputs,
        ]  # fmt: skip

    def wrong(self, message: str, place: Place, help_text: str) -> None:
        """Something that is not as it has to be."""
        self.findings.append(Finding(IDENT, message, place, help_text))

    def check(self) -> None:
        """Raises SchemeError where anything is wrong."""
        if self.findings:
            raise SchemeError(self.findings)

    def entries(self, node: MappingNode) -> Iterator[tuple[str, Place, str, Callable[[int, int], Place]]]:
        """The keys of a mapping with their values' texts and where parts of these stand."""
        for entry in node.entries:
            value: Node = entry.value
            if isinstance(value, Scalar):
                yield entry.key.text, entry.key.place, value.text, value.part
            else:
                self.wrong(f"{kind_of(value)} stands where a value belongs", value.place, f"expected {_EXPECTED}")

    def moment(self, parts: Iterator[tuple[str, Place, str, Callable[[int, int], Place]]], words: str) -> Moment:
        """One moment."""
        statements: list[Statement] = []
        us: int | None = None
        for key, place, text, part in parts:
            try:
                if key == "for":
                    if us is not None:
                        self.wrong("`for` is given twice", place, "keep one of them")
                    us = read_time(text)
                    continue
                statement = self._statement(key, place, text, part)
            except GrammarError as error:
                self.wrong(error.message, part(error.start, error.length), error.hint)
                continue
            if statement is None:
                continue
            if any((s.of, s.name) == (statement.of, statement.name) for s in statements):
                self.wrong(f"{key} is given twice", place, "keep one of them; for another time add another moment")
            statements.append(statement)
        return Moment(tuple(statements), us or 0, words)

    def _statement(self, key: str, place: Place, text: str, part: Callable[[int, int], Place]) -> Statement | None:
        scheme, words = self.scheme, f"{key} {text}"
        if key in scheme.quantities:
            quantity = scheme.quantities[key]
            value = self._value(text, quantity.kind, part, difference=False)
            if value is not None and (value.high < quantity.span.low or value.low > quantity.span.high):
                self.wrong(
                    f"{key} {text} lies outside its span", part(0, len(text)), "is the scheme's span too narrow?"
                )
                return None
            return None if value is None else Statement(Of.QUANTITY, key, value, words, place)
        if key in scheme.sensors or key in scheme.readings:
            return self._reading(key, place, text, part)
        for of, table, pair in (
            (Of.PATH, scheme.paths, ("running", "stopped")),
            (Of.LINE, scheme.lines, ("on", "off")),
            (Of.RULE, scheme.rules, ("active", "clear")),
            (Of.DEVICE, scheme.outputs, ("closed", "open")),
        ):
            if key not in table:
                continue
            choices = {pair: of}
            if of is Of.DEVICE:
                choices = {sides(scheme, Sight(SightKind.DEVICE, key)): of}
            if of is Of.RULE and scheme.rules[key].alarm:
                choices["sounding", "silent"] = Of.ALARM
            for (true, false), meant in choices.items():
                if text in (true, false):
                    return Statement(meant, key, text == true, words, place)
            allowed = [word for both in choices for word in both]
            self.wrong(
                f"`{shortened(text)}` is nothing that can be seen of {key}" if text else f"nothing is said of {key}",
                part(0, max(1, len(text))),
                nearest(text, allowed) or f"expected {' or '.join(allowed)}",
            )
            return None
        self.wrong(
            f"the scheme has nothing called `{shortened(key)}`",
            place,
            nearest(key, self.known) or f"expected a name of the scheme and what was seen, {_EXPECTED}",
        )
        return None

    def _reading(self, key: str, place: Place, text: str, part: Callable[[int, int], Place]) -> Statement | None:
        scheme, words = self.scheme, f"{key} {text}"
        if text in ("valid", "invalid"):
            return Statement(Of.VALID, key, text == "valid", words, place)
        reading = scheme.readings.get(key)
        if reading is not None and reading.combine not in PLAIN_READINGS:
            self.wrong(
                f"{key} is a {reading.combine!s} reading", place, f"say what {', '.join(reading.sensors)} show instead"
            )
            return None
        kind = reading.kind if reading else scheme.sensors[key].kind
        difference = reading is not None and reading.combine is Combine.DIFFERENCE_OF
        value = self._value(text, kind, part, difference=difference)
        return None if value is None else Statement(Of.READING, key, value, words, place)

    def _value(self, text: str, kind: Kind, part: Callable[[int, int], Place], *, difference: bool) -> Interval | None:
        """`20 degC`, `18 to 22 degC` or `below 3 degC`, closed at both ends."""
        unit: Unit
        first = text.split(" ", 1)[0]
        far = 10**18
        if first.isalpha() or "_" in first:
            test = read_trigger(text, timed=False).test
            if not isinstance(test, WrittenLimit):
                raise GrammarError(IDENT, f"`{text}` is no value", 0, len(text), "expected a value with its unit")
            unit, micro = test.measure.unit, test.measure.micro
            off = 1 if test.compare.strict else 0
            found = Interval(-far, micro - off) if test.compare.downward else Interval(micro + off, far)
        elif " to " in text:
            span = read_span(text)
            unit, found = span.unit, span.interval
        else:
            measure = read_value(text)
            unit, found = measure.unit, Interval(measure.micro, measure.micro)
        if unit.kind is not kind or not (unit.difference if difference else unit.absolute):
            wanted = kind.difference_unit if difference else str(kind)
            self.wrong(f"`{unit.symbol}` is no unit of it", part(0, len(text)), f"expected a value in {wanted}")
            return None
        return found
