"""Situations to begin with: each a link that sets what sensors read beyond a rule's limit, lets the rule's delay pass,
and opens a path that it stops, with the reason."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from html import escape

from interlock.bench.tables import Plain
from interlock.scheme.model import Interval, Limit, Rule, Scheme
from interlock.scheme.units import value_text
from interlock.scheme.words import Combine, Signal

MOST = 8
BEYOND = 16  # a value stands beyond its limit by this part of what a sensor may read
LONGEST = 36_000  # scans that the page takes over from a link


def situations(scheme: Scheme, known: Plain, say: Callable[..., str]) -> str:
    """The list of them, for the first rules that hold a reading against a limit and stop something."""
    listed = [
        f'<li><a href="#{escape(_link(scheme, known, rule, sensors, value))}">{_words(scheme, say, sensors, value)}</a>'
        f" <small>{escape(rule.name)}</small></li>"
        for rule, sensors, value in _found(scheme)
    ]
    if not listed:
        return ""
    rows = "".join(listed[:MOST])
    return f'<h3>{say("situations")}</h3>\n<ul class="bench-situations">{rows}</ul>\n'


def _found(scheme: Scheme) -> Iterator[tuple[Rule, tuple[str, ...], int]]:
    """Rules with the sensors that are given the same, and what these read."""
    for rule in scheme.rules.values():
        limit = rule.trips.test
        if not isinstance(limit, Limit) or not rule.blocks or rule.trips.delay.scans + 2 > LONGEST:
            continue
        reading = scheme.readings.get(rule.watched) if rule.watches is Signal.READING else None
        if reading and reading.combine is Combine.DIFFERENCE_OF:
            continue
        sensors = reading.sensors if reading else (rule.watched,)
        if any(name not in scheme.sensors for name in sensors):
            continue
        valid = Interval(
            max(scheme.sensors[s].valid.low for s in sensors), min(scheme.sensors[s].valid.high for s in sensors)
        )
        yield rule, sensors, _beyond(limit, valid)


def _beyond(limit: Limit, valid: Interval) -> int:
    """A value well beyond a limit, rounded to one figure, and still a valid one."""
    far = (valid.high - valid.low) // BEYOND
    unit = int("1" + "0" * (len(str(far)) - 1))
    far = max(1, far // unit) * unit
    value = limit.value - far if limit.compare.downward else limit.value + far
    if valid.low < value < valid.high:
        return value
    return (limit.value + (valid.low if limit.compare.downward else valid.high)) // 2


def _link(scheme: Scheme, known: Plain, rule: Rule, sensors: tuple[str, ...], value: int) -> str:
    path = rule.blocks[0].path
    stops = max((scheme.outputs[o].stops_within.scans for o in scheme.paths[path].outputs), default=0)
    now = min(rule.trips.delay.scans + stops + 2, LONGEST)
    acts = ";".join(f"0,r,{name},{value}" for name in sensors)
    return f"bench={known['mark']},rest,{now},{path};{acts}"


def _words(scheme: Scheme, say: Callable[..., str], sensors: tuple[str, ...], value: int) -> str:
    shown = value_text(value, scheme.sensors[sensors[0]].kind)
    if len(sensors) == 1:
        return say("situation", sensor=sensors[0], value=shown)
    *first, last = sensors
    return say("situation_many", sensors=", ".join(first), sensor=last, value=shown)
