"""Sequences as data, and as JSON Lines: one JSON object for each scan.

    {"sequence": 1, "scan": 0, "start": "first", "aims": ["cold_stop: trip limit"],
     "readings": {"probe": 2.999}, "lines": {"reset_button": false},
     "outputs": {"K1": false}, "sent": {}, "alarms": {}}

`start`: `first` where the unit powers up for the first time before the scan, `power_cycle` where after a power cycle,
else null. `aims`: what begins with this scan. `readings` in base units (degC, V, %), null for a lost one. `outputs`:
true where energised. `lines` and `sent`: true where on. `alarms`, by rule: true where raised.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from interlock.scheme.words import Word


class Start(Word):
    """What comes before a scan."""

    FIRST = "first"
    POWER_CYCLE = "power_cycle"


@dataclass(frozen=True, slots=True)
class Vector:
    """One scan: what the unit is given and what it must answer. Readings in millionths, None for a lost one."""

    readings: Mapping[str, int | None]
    lines: Mapping[str, bool]
    outputs: Mapping[str, bool]
    sent: Mapping[str, bool]
    alarms: Mapping[str, bool]
    start: Start | None = None
    aims: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Run:
    """Scans that follow one another from a power-up."""

    vectors: tuple[Vector, ...]


def json_lines(sequences: Sequence[Run]) -> Iterator[str]:
    """One line for each scan, each ended by a line break."""
    for number, sequence in enumerate(sequences, 1):
        for scan, vector in enumerate(sequence.vectors):
            data = {
                "sequence": number,
                "scan": scan,
                "start": str(vector.start) if vector.start else None,
                "aims": list(vector.aims),
                "readings": {name: _number(value) for name, value in vector.readings.items()},
                "lines": dict(vector.lines),
                "outputs": dict(vector.outputs),
                "sent": dict(vector.sent),
                "alarms": dict(vector.alarms),
            }
            yield json.dumps(data, ensure_ascii=False) + "\n"


def _number(micro: int | None) -> int | float | None:
    if micro is None:
        return None
    return micro // 10**6 if micro % 10**6 == 0 else float(Decimal(micro) / 10**6)


class BadVectorsError(ValueError):
    """A file of vectors that can't be read; the message names the line."""


def read_json_lines(lines: Iterator[str]) -> tuple[Run, ...]:
    """The sequences of a file. Raises BadVectorsError."""
    found: dict[object, list[Vector]] = {}
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            data = json.loads(line, parse_float=Decimal)
            start = Start(data["start"]) if data["start"] else None
            flags = {
                key: {str(k): _truth(v) for k, v in data[key].items()} for key in ("lines", "outputs", "sent", "alarms")
            }
            readings = {str(name): _micro(value) for name, value in data["readings"].items()}
            aims = tuple(map(str, data["aims"]))
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise BadVectorsError(f"line {number} is no vector: {type(error).__name__}: {error}") from error
        scans = found.setdefault(data["sequence"], [])
        if (start is Start.FIRST) is not (not scans):
            raise BadVectorsError(f"line {number}: a sequence begins with a first power-up, and has no other")
        scans.append(Vector(readings, **flags, start=start, aims=aims))
    return tuple(Run(tuple(scans)) for scans in found.values())


def _truth(value: object) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"{value!r} where true or false belongs")
    return value


def _micro(value: object) -> int | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise ValueError(f"{value!r} where a number belongs")
    micro = Decimal(value) * 10**6
    if micro != int(micro):
        raise ValueError(f"{value} is finer than a millionth")
    return int(micro)
