"""The explanation's sections and what can decide over a chain; the check that a table has every member."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import TypeVar

from interlock.scheme.words import Word

E = TypeVar("E", bound=Enum)
V = TypeVar("V")


def complete(table: Mapping[E, V], members: type[E], where: str) -> Mapping[E, V]:
    """The table, if it has every member. Raises TypeError naming those it misses."""
    missing = [member.name for member in members if member not in table]
    if missing:
        raise TypeError(f"{where} misses {members.__name__}.{f', {members.__name__}.'.join(missing)}")
    return table


class Section(Word):
    """The sections of the explanation, in their order."""

    OVERVIEW = "overview"
    QUANTITIES = "quantities"
    SENSORS = "sensors"
    READINGS = "readings"
    LINES = "lines"
    RULES = "rules"
    GROUPS = "groups"
    PATHS = "paths"
    OUTPUTS = "outputs"
    DEVICES = "devices"
    REQUIREMENTS = "requirements"
    NOT_PROTECTED = "not_protected"
    CASES = "cases"
    FAULTS = "faults"
    EXCLUDED = "excluded"
    RATES = "rates"
    ACCEPTED = "accepted"


class Cause(Word):
    """What can decide over an output's chain."""

    RUNS = "runs"
    STOPS = "stops"
    UNIT_DEAD = "unit_dead"
    WIRE_BROKEN = "wire_broken"
    CONTACT_WELDED = "contact_welded"
