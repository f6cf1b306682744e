"""Sequences as CSV (RFC 4180, UTF-8, a header, line feeds): one row for each scan, what JSON Lines have (`record`).

    sequence,scan,start,aims,reading probe,line reset_button,output K1,output K2
    1,0,first,cold_stop: trip limit,2.999,0,0,0
    1,1,,,3,0,0,0

`start`: `first`, `power_cycle` or nothing. `aims`: what begins with this scan, parted by `; `. A reading stands in base
units (degC, V, %), or nothing where it is lost; lines, outputs, sent lines and alarms are 1 or 0: on, energised,
raised.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal, InvalidOperation

from interlock.scheme.units import MICRO
from interlock.vectors.record import BadVectorsError, Run, Start, Vector

FIXED = ("sequence", "scan", "start", "aims")
GROUPS = ("reading", "line", "output", "sent", "alarm")
PARTED = "; "


def csv_lines(sequences: Sequence[Run]) -> Iterator[str]:
    """The header, then one line for each scan, each ended by a line feed. All sequences are of one unit."""
    first = sequences[0].vectors[0]
    names = [(group, name) for group in GROUPS for name in _table(first, group)]
    yield _line([*FIXED, *(f"{group} {name}" for group, name in names)])
    for number, sequence in enumerate(sequences, 1):
        for scan, vector in enumerate(sequence.vectors):
            tables = {group: _table(vector, group) for group in GROUPS}
            cells = [_cell(group, tables[group][name]) for group, name in names]
            yield _line([str(number), str(scan), str(vector.start or ""), PARTED.join(vector.aims), *cells])


def _table(vector: Vector, group: str) -> Mapping[str, int | bool | None]:
    return {
        "reading": vector.readings,
        "line": vector.lines,
        "output": vector.outputs,
        "sent": vector.sent,
        "alarm": vector.alarms,
    }[group]


def _cell(group: str, value: int | bool | None) -> str:
    if group != "reading":
        return str(int(bool(value)))
    return "" if value is None else f"{(Decimal(value) / MICRO).normalize():f}"


def _line(cells: Sequence[str]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(cells)
    return out.getvalue()


def read_csv(lines: Iterator[str]) -> tuple[Run, ...]:
    """The sequences of a file. Raises BadVectorsError."""
    rows = csv.reader(lines, strict=True)
    found: dict[str, list[Vector]] = {}
    number = 1
    try:
        header = next(rows, [])
        columns = _columns(header)
        for row in rows:
            number = rows.line_num
            if len(row) != len(header):
                raise ValueError(f"{len(row)} fields where the header has {len(header)}")
            vector = _vector(columns, row)
            scans = found.setdefault(row[0], [])
            if (vector.start is Start.FIRST) is not (not scans):
                raise ValueError("a sequence begins with a first power-up, and has no other")
            scans.append(vector)
    except (ValueError, csv.Error) as error:
        raise BadVectorsError(f"line {number} is no vector: {error}") from error
    return tuple(Run(tuple(scans)) for scans in found.values())


def _columns(header: Sequence[str]) -> dict[str, list[tuple[int, str]]]:
    if tuple(header[: len(FIXED)]) != FIXED:
        raise ValueError(f"the header begins with {', '.join(FIXED)}")
    columns: dict[str, list[tuple[int, str]]] = {group: [] for group in GROUPS}
    for i, word in enumerate(header[len(FIXED) :], len(FIXED)):
        group, _, name = word.partition(" ")
        if group not in columns or not name:
            raise ValueError(f"{word!r} is no column: it is one of {', '.join(GROUPS)} and a name")
        columns[group].append((i, name))
    return columns


def _vector(columns: Mapping[str, Sequence[tuple[int, str]]], row: Sequence[str]) -> Vector:
    lines, outputs, sent, alarms = ({name: _truth(row[i]) for i, name in columns[group]} for group in GROUPS[1:])
    return Vector(
        {name: _micro(row[i]) for i, name in columns["reading"]},
        lines,
        outputs,
        sent,
        alarms,
        start=Start(row[2]) if row[2] else None,
        aims=tuple(row[3].split(PARTED)) if row[3] else (),
    )


def _truth(cell: str) -> bool:
    if cell not in ("0", "1"):
        raise ValueError(f"{cell!r} where 0 or 1 belongs")
    return cell == "1"


def _micro(cell: str) -> int | None:
    if not cell:
        return None
    try:
        micro = Decimal(cell) * MICRO
    except InvalidOperation as error:
        raise ValueError(f"{cell!r} where a number belongs") from error
    if not micro.is_finite() or micro != int(micro):
        raise ValueError(f"{cell} is no number of at most six decimals")
    return int(micro)
