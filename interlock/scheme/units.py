"""Physical units. Every value is a whole number of millionths of its kind's base unit, so all arithmetic is exact."""

from __future__ import annotations

from fractions import Fraction

from msgspec import Struct

from interlock.scheme.words import Word

MICRO = 1_000_000
LARGEST = 10**9 * MICRO  # nothing on a battery system is larger than a thousand million base units


class Kind(Word):
    """The kinds of physical value; each value's text is shown in this base unit."""

    TEMPERATURE = "degC"
    VOLTAGE = "V"
    CURRENT = "A"
    POWER = "W"
    PERCENT = "%"
    FREQUENCY = "Hz"
    SPEED = "rpm"
    PRESSURE = "bar"
    RESISTANCE = "ohm"
    CAPACITY = "Ah"
    ENERGY = "Wh"

    @property
    def noun(self) -> str:
        """The kind in words, for messages."""
        return {"degC": "temperature", "%": "percentage", "rpm": "speed of rotation"}.get(
            str(self.value), self.name.lower()
        )

    @property
    def difference_unit(self) -> str:
        """The unit in which a difference of two such values is written."""
        return "K" if self is Kind.TEMPERATURE else str(self.value)


class Unit(Struct, frozen=True):
    """A unit symbol: `micro` millionths of the base unit; usable for absolute values, differences, or both."""

    symbol: str
    kind: Kind
    micro: int
    absolute: bool = True
    difference: bool = True


# Decimal prefixes by the SI brochure (BIPM, 9th edition, table 7); 1 bar = 100 kPa (ISO 80000-4).
UNITS: dict[str, Unit] = {
    u.symbol: u
    for u in (
        Unit("degC", Kind.TEMPERATURE, MICRO, difference=False),
        Unit("K", Kind.TEMPERATURE, MICRO, absolute=False),
        Unit("mK", Kind.TEMPERATURE, 1_000, absolute=False),
        Unit("V", Kind.VOLTAGE, MICRO),
        Unit("mV", Kind.VOLTAGE, 1_000),
        Unit("uV", Kind.VOLTAGE, 1),
        Unit("kV", Kind.VOLTAGE, 1_000 * MICRO),
        Unit("A", Kind.CURRENT, MICRO),
        Unit("mA", Kind.CURRENT, 1_000),
        Unit("kA", Kind.CURRENT, 1_000 * MICRO),
        Unit("W", Kind.POWER, MICRO),
        Unit("kW", Kind.POWER, 1_000 * MICRO),
        Unit("%", Kind.PERCENT, MICRO),
        Unit("Hz", Kind.FREQUENCY, MICRO),
        Unit("kHz", Kind.FREQUENCY, 1_000 * MICRO),
        Unit("rpm", Kind.SPEED, MICRO),
        Unit("bar", Kind.PRESSURE, MICRO),
        Unit("mbar", Kind.PRESSURE, 1_000),
        Unit("kPa", Kind.PRESSURE, 10_000),
        Unit("ohm", Kind.RESISTANCE, MICRO),
        Unit("kohm", Kind.RESISTANCE, 1_000 * MICRO),
        Unit("Mohm", Kind.RESISTANCE, MICRO * MICRO),
        Unit("Ah", Kind.CAPACITY, MICRO),
        Unit("mAh", Kind.CAPACITY, 1_000),
        Unit("Wh", Kind.ENERGY, MICRO),
        Unit("kWh", Kind.ENERGY, 1_000 * MICRO),
    )
}
ALIASES: dict[str, str] = {
    "°C": "degC",
    "℃": "degC",
    "µV": "uV",
    "μV": "uV",
    "Ω": "ohm",
    "kΩ": "kohm",
    "MΩ": "Mohm",
}
TIMES: dict[str, int] = {"ms": 1_000, "s": MICRO, "min": 60 * MICRO, "h": 3_600 * MICRO, "d": 86_400 * MICRO}
LONGEST = 366 * TIMES["d"]


def decimal_text(micro: int | Fraction) -> str:
    """A count of millionths as a plain decimal: 3_550_000 → `3.55`. Fractions finer than a millionth are rounded."""
    whole = round(micro)
    sign = "-" if whole < 0 else ""
    units, rest = divmod(abs(whole), MICRO)
    return f"{sign}{units}" + (f".{rest:06d}".rstrip("0") if rest else "")


def value_text(micro: int | Fraction, kind: Kind, *, difference: bool = False) -> str:
    """A value with its unit: `3.55 V`, `-4 degC`; a difference `6 K`, `10 mV` (voltages under a volt in mV)."""
    if difference:
        if kind is Kind.VOLTAGE and -MICRO < micro < MICRO and micro:
            return f"{decimal_text(micro * 1000)} mV"
        return f"{decimal_text(micro)} {kind.difference_unit}"
    return f"{decimal_text(micro)} {kind}"


def time_text(us: int) -> str:
    """A duration in microseconds in the largest unit that leaves it short: `100 ms`, `2.2 s`, `15 min`, `1.5 h`."""
    if us < MICRO:
        return f"{decimal_text(us * 1000)} ms"
    for symbol in ("h", "min"):
        least = TIMES[symbol]
        if us >= least and (us * 10) % least == 0:
            return f"{decimal_text(us * MICRO // least)} {symbol}"
    return f"{decimal_text(us)} s"


def lasted_text(us: int) -> str:
    """A duration in microseconds as a clock shows it: `2.2 s`, `5 min 0.1 s`, `1 h 30 min`."""
    if us < TIMES["min"]:
        return time_text(us) if us else "0 s"
    hours, rest = divmod(us, TIMES["h"])
    minutes, rest = divmod(rest, TIMES["min"])
    parts = [f"{hours} h"] * bool(hours) + [f"{minutes} min"] * bool(minutes) + [f"{decimal_text(rest)} s"] * bool(rest)
    return " ".join(parts)
