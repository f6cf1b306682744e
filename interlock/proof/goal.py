"""What a search looks for at a scan: the claim's bad scans, or parts of them for twins and for vacuity."""

from __future__ import annotations

from msgspec import Struct

from interlock.scheme.model import AnyOf, Claim, Condition
from interlock.scheme.words import Must, Word


class Resets(Word):
    """Where a manual reset comes from."""

    READ = "read"  # a rising edge of the line as read
    GIVEN = "given"  # a person gives it at the first scan that accepts it
    NEVER = "never"


class Heard(Word):
    """What an alarm must be doing: it sounds while its rule is in force and its unit is neither dead nor frozen."""

    SOUNDS = "sounds"
    SILENT = "silent"


class Moves(Word):
    """What the path must be able to do."""

    RUN = "run"
    STOP = "stop"
    ANYTHING = "anything"


class Goal(Struct, frozen=True):
    """A scan counts when `path` may do what `moves` says and all conditions (and one alternative of `any_of`) hold.

    `heard`: and the alarm of rule `alarm` does that, once all faults of the set have arisen.
    """

    moves: Moves
    path: str
    conditions: tuple[Condition, ...] = ()
    any_of: AnyOf = ()
    resets: Resets = Resets.READ
    heard: Heard | None = None
    alarm: str = ""


def of_claim(claim: Claim) -> Goal:
    """The bad scans of a claim."""
    if claim.must is Must.NEVER_RUNNING:
        return Goal(Moves.RUN, claim.path, claim.conditions, claim.any_of, Resets.READ)
    resets = Resets.GIVEN if claim.attended else Resets.NEVER
    return Goal(Moves.STOP, claim.path, claim.conditions, claim.any_of, resets)


def path_alone(goal: Goal) -> Goal:
    """The path can do it at all."""
    return Goal(goal.moves, goal.path, resets=goal.resets)


def conditions_alone(goal: Goal) -> Goal:
    """The conditions can hold at all."""
    return Goal(Moves.ANYTHING, goal.path, goal.conditions, goal.any_of, goal.resets)


def of_alarm(rule: str, heard: Heard) -> Goal:
    """The scans at which a rule's alarm sounds, or is silent, with all faults of the set there."""
    return Goal(Moves.ANYTHING, "", heard=heard, alarm=rule)
