"""The small grammar inside a scheme's values, once: `below 3 degC for 2 s`, `-30 to 80 degC`, `coldest_cell + 6 K`.

    value    = NUMBER UNIT                      span     = NUMBER [UNIT] "to" value
    time     = NUMBER TIME-UNIT                 tie      = NAME [("+" | "-") value]
    test     = COMPARE value | WORD             trigger  = test ["for" time]

A number is a plain decimal, exact to a millionth of the base unit. Every error says where in the text it stands and
what was expected there.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches
from fractions import Fraction

from msgspec import Struct

from interlock.scheme.model import Interval
from interlock.scheme.units import ALIASES, LARGEST, LONGEST, TIMES, UNITS, Unit
from interlock.scheme.words import Compare

_TOKEN = re.compile(
    r"(?P<number>[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?)|(?P<word>[^\W\d][\w~.-]*|[%°℃µμΩ][\w]*)|(?P<sign>[+\-±−])|(?P<other>\S)"
)
_LONGEST_NUMBER = 40


class GrammarError(Exception):
    """A value that can't be read: `start` and `length` within the text, what is wrong, what to do."""

    def __init__(self, ident: str, message: str, start: int, length: int, hint: str) -> None:
        super().__init__(message)
        self.ident, self.message, self.start, self.length, self.hint = ident, message, start, length, hint


class Measure(Struct, frozen=True):
    """A value as written: exact millionths of `kind`'s base unit. `unit` tells absolute values from differences."""

    micro: int
    unit: Unit
    start: int
    length: int


class Span(Struct, frozen=True):
    """`low to high`, in one kind."""

    interval: Interval
    unit: Unit


class WrittenTie(Struct, frozen=True):
    """A quantity's name and a difference (0 where none is written)."""

    other: str
    difference: Measure | None


class WrittenLimit(Struct, frozen=True):
    """A comparison as written."""

    compare: Compare
    measure: Measure


class WrittenTrigger(Struct, frozen=True):
    """A comparison or one of the two-valued words, and a time in microseconds. `start`, `length`: of the test."""

    test: WrittenLimit | str
    us: int
    start: int
    length: int


STATE_WORDS = ("on", "off", "running", "stopped", "active", "clear")


def nearest(name: str, known: Iterable[str]) -> str:
    """` (did you mean …?)` for a misspelt name, "" where nothing is near."""
    names = list(known)
    folded = {n.lower().replace("-", "_"): n for n in names}
    found = get_close_matches(name.lower().replace("-", "_"), list(folded), n=1, cutoff=0.6)
    return f"did you mean `{folded[found[0]]}`?" if found else ""


class _Token(Struct, frozen=True):
    kind: str
    text: str
    start: int


class _Reader:
    """A text's tokens, read from left to right."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.tokens = [_Token(str(m.lastgroup), m.group(), m.start()) for m in _TOKEN.finditer(text)]
        self.at = 0

    def fail(self, ident: str, message: str, token: _Token | None, hint: str) -> GrammarError:
        start = token.start if token else len(self.text)
        return GrammarError(ident, message, start, len(token.text) if token else 1, hint)

    def peek(self) -> _Token | None:
        return self.tokens[self.at] if self.at < len(self.tokens) else None

    def word(self, *words: str) -> bool:
        """Take one of these words if it stands next."""
        token = self.peek()
        if token and token.kind == "word" and token.text in words:
            self.at += 1
            return True
        return False

    def end(self, expected: str) -> None:
        token = self.peek()
        if token:
            raise self.fail(
                "bad-value", f"`{token.text}` stands where the value should end", token, f"expected {expected}"
            )

    def number(self, expected: str) -> tuple[Fraction, _Token]:
        token = self.peek()
        if token is None or token.kind != "number":
            found = f"`{token.text}` stands" if token else "nothing stands"
            raise self.fail("bad-value", f"{found} where a number belongs", token, f"expected {expected}")
        if len(token.text) > _LONGEST_NUMBER:
            raise self.fail("number-out-of-range", "the number is too long", token, f"expected {expected}")
        self.at += 1
        return Fraction(token.text), token

    def unit(self, number: _Token, expected: str) -> tuple[Unit, _Token]:
        token = self.peek()
        if token is not None and token.text == ",":
            raise self.fail("bad-value", "a comma stands in a number", token, "write a decimal point: `3.55 V`")
        if token is None or token.kind != "word" or token.text in ("for", "to"):
            raise self.fail("missing-unit", f"`{number.text}` has no unit", number, f"expected {expected}")
        symbol = ALIASES.get(token.text, token.text)
        if symbol not in UNITS:
            if symbol in TIMES:
                raise self.fail("wrong-unit", f"`{symbol}` is a unit of time", token, f"expected {expected}")
            raise self.fail(
                "unknown-unit", f"`{token.text}` is no unit this tool knows", token, _hint(expected, token.text)
            )
        self.at += 1
        return UNITS[symbol], token

    def measure(self, number: Fraction, token: _Token, unit: Unit, last: _Token) -> Measure:
        exact = number * unit.micro
        length = last.start + len(last.text) - token.start
        if exact.denominator != 1:
            raise GrammarError(
                "number-too-fine",
                f"`{token.text} {unit.symbol}` is finer than a millionth of a {unit.kind}",
                token.start,
                length,
                "round it",
            )
        if abs(exact) > LARGEST:
            raise GrammarError(
                "number-out-of-range",
                f"`{token.text} {unit.symbol}` is beyond any battery system",
                token.start,
                length,
                "check the number and its unit",
            )
        return Measure(int(exact), unit, token.start, length)

    def value(self, expected: str) -> Measure:
        number, token = self.number(expected)
        unit, last = self.unit(token, expected)
        return self.measure(number, token, unit, last)

    def time(self) -> int:
        expected = "a time such as `2 s` (units: " + ", ".join(TIMES) + ")"
        number, token = self.number(expected)
        last = self.peek()
        if last is None or last.kind != "word":
            raise self.fail("missing-unit", f"`{token.text}` has no unit", token, f"expected {expected}")
        if last.text not in TIMES:
            ident = "wrong-unit" if last.text in UNITS else "unknown-unit"
            raise self.fail(ident, f"`{last.text}` is no unit of time", last, f"expected {expected}")
        self.at += 1
        us = number * TIMES[last.text]
        length = last.start + len(last.text) - token.start
        text = f"`{token.text} {last.text}`"
        if us < 0:
            raise GrammarError(
                "negative-time", f"{text} is a negative time", token.start, length, "times are 0 or more"
            )
        if us > LONGEST:
            raise GrammarError("number-out-of-range", f"{text} is over a year", token.start, length, "check the unit")
        if us.denominator != 1:
            raise GrammarError(
                "number-too-fine", f"{text} is finer than a microsecond", token.start, length, "round it"
            )
        return int(us)


def _hint(expected: str, symbol: str) -> str:
    near = nearest(symbol, [*UNITS, *TIMES])
    return f"expected {expected}" + (f"; {near}" if near else "")


def read_value(text: str) -> Measure:
    """`3.55 V`. Raises GrammarError."""
    reader = _Reader(text)
    value = reader.value("a value such as `3.55 V` or `-4 degC`")
    reader.end("a value and its unit, no more")
    return value


def read_time(text: str) -> int:
    """`100 ms` → microseconds. Raises GrammarError."""
    reader = _Reader(text)
    us = reader.time()
    reader.end("a time and its unit, no more")
    return us


def read_span(text: str) -> Span:
    """`-30 to 80 degC`: low to high; the first unit may be left out where it is the same. Raises GrammarError."""
    expected = "two values such as `-30 to 80 degC`"
    reader = _Reader(text)
    low, first = reader.number(expected)
    low_unit: Unit | None = None
    last = first
    if not reader.word("to"):
        low_unit, last = reader.unit(first, expected)
        if not reader.word("to"):
            raise reader.fail("bad-value", "`to` and the other end are missing", reader.peek(), f"expected {expected}")
    high = reader.value(expected)
    reader.end(expected)
    lower = reader.measure(low, first, low_unit or high.unit, last)
    if low_unit and (low_unit.kind, low_unit.absolute) != (high.unit.kind, high.unit.absolute):
        raise GrammarError(
            "wrong-unit",
            f"`{low_unit.symbol}` and `{high.unit.symbol}` do not go together",
            0,
            len(text),
            "give both ends in one unit",
        )
    if lower.micro > high.micro:
        raise GrammarError(
            "span-upside-down", f"`{text.strip()}` runs from high to low", 0, len(text), "write the lower end first"
        )
    return Span(Interval(lower.micro, high.micro), high.unit)


def read_tie(text: str) -> WrittenTie:
    """`coldest_cell + 6 K`. Raises GrammarError."""
    expected = "a quantity, with a difference where there is one: `coldest_cell + 6 K`"
    reader = _Reader(text)
    name = reader.peek()
    if name is None or name.kind != "word":
        raise reader.fail("bad-value", "a quantity's name belongs here", name, f"expected {expected}")
    reader.at += 1
    token = reader.peek()
    if token is None:
        return WrittenTie(name.text, None)
    sign = -1 if token.text[0] in "-−" else 1
    if token.kind == "sign":
        reader.at += 1
        difference = reader.value(expected)
    elif token.kind == "number" and token.text[0] in "+-":  # `a -6 K` and `a +6 K`: the sign sticks to the number
        difference = reader.value(expected)
        sign = 1
    else:
        raise reader.fail("bad-value", f"`{token.text}` stands where + or - belongs", token, f"expected {expected}")
    reader.end(expected)
    return WrittenTie(name.text, Measure(sign * difference.micro, difference.unit, difference.start, difference.length))


def read_trigger(text: str, *, timed: bool = True) -> WrittenTrigger:
    """`below 3 degC for 2 s`, `off`, `on for 1 s`; without a time where `timed` is false. Raises GrammarError."""
    compares = " | ".join(str(c) for c in Compare)
    expected = f"`{compares}` and a value, or one of {', '.join(STATE_WORDS)}" + (
        ", then `for` a time" if timed else ""
    )
    reader = _Reader(text)
    token = reader.peek()
    if token is None or token.kind != "word":
        found = f"`{token.text}` stands" if token else "nothing stands"
        raise reader.fail("bad-value", f"{found} where a condition belongs", token, f"expected {expected}")
    reader.at += 1
    test: WrittenLimit | str
    if token.text in STATE_WORDS:
        test = token.text
        length = len(token.text)
    elif token.text in {str(c) for c in Compare}:
        measure = reader.value("a value such as `3 degC`")
        test = WrittenLimit(Compare(token.text), measure)
        length = measure.start + measure.length - token.start
    else:
        near = nearest(token.text, [*STATE_WORDS, *(str(c) for c in Compare)])
        raise reader.fail("bad-value", f"`{token.text}` is no condition", token, near or f"expected {expected}")
    us = 0
    if timed and reader.word("for"):
        us = reader.time()
    reader.end(expected)
    return WrittenTrigger(test, us, token.start, length)
