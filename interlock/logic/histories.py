"""Which rules on a value can be active and which clear at one and the same steady reading: by holding other readings
before, each for a time, all sensors of a group alike."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from interlock.logic.settled import bit_at
from interlock.logic.steady import Alike, Piece, pieces
from interlock.scheme.model import Rule, Scheme
from interlock.scheme.words import PowerUp


class Hold(Struct, frozen=True):
    """A reading held for so many scans."""

    piece: Piece
    scans: int


Vector = tuple[bool, ...]


def vectors(scheme: Scheme, group: Alike, rules: Sequence[Rule], at: Piece) -> dict[Vector, tuple[Hold, ...]]:
    """Each way in which these rules on the group's sensors (all that are looked at) may be active at a steady reading
    of `at`, with a history from power-up: holds, each followed by a long one of `at`."""
    bits = [bit_at(scheme, rule, at) for rule in rules]
    first = tuple(_kept(bit, rule.power_up is not PowerUp.CLEAR) for bit, rule in zip(bits, rules, strict=True))
    moves = [(hold, [bit_at(scheme, rule, hold.piece) for rule in rules]) for hold in _holds(scheme, group, rules)]
    found: dict[Vector, tuple[Hold, ...]] = {first: ()}
    todo = [first]
    for vector in todo:
        for hold, there in moves:
            after = tuple(
                _kept(bit, _moved(rule, active, side, hold.scans))
                for bit, rule, active, side in zip(bits, rules, vector, there, strict=True)
            )
            if after not in found:
                found[after] = (*found[vector], hold)
                todo.append(after)
    return found


def _kept(bit: bool | None, active: bool) -> bool:
    return active if bit is None else bit


def _holds(scheme: Scheme, group: Alike, rules: Sequence[Rule]) -> list[Hold]:
    """Readings and times worth holding: just long enough for each delay, the longest last."""
    times = sorted({needed(rule, trips=trips) for rule in rules for trips in (True, False)})
    return [Hold(piece, time) for time in reversed(times) for piece in pieces(scheme, group, rules)]


def needed(rule: Rule, *, trips: bool) -> int:
    """Scans for which its condition has to hold so that it trips or is clear for certain, a reset given included."""
    return (rule.trips.delay.scans if trips else rule.clears.delay.scans + rule.manual) + 1


def _moved(rule: Rule, active: bool, side: bool | None, scans: int) -> bool:
    """What a hold makes of a rule: `side` True where it trips, False where it clears, None where it stays."""
    if side is None or side is active:
        return active
    return side if scans >= needed(rule, trips=side) else active
