"""Situations to begin with: each sets what sensors read beyond a rule's limit and lets the delays pass until something
stops; a link for each path that does opens it, with the reason."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from html import escape

from interlock.bench.tables import Plain
from interlock.scheme.model import Interval, Limit, Rule, Scheme
from interlock.scheme.units import value_text
from interlock.scheme.words import Combine, LineForm, Signal

MOST = 8
BEYOND = 16  # a value stands beyond its limit by this part of what a sensor may read
LONGEST = 36_000  # scans that the page takes over from a link


@dataclass(frozen=True, slots=True)
class Situation:
    """`sensors` all read `value`, in millionths, beyond the limit of `rule`; `scans` scans later `acts` stops `paths`:
    the rule itself, or one that hears of it by a line."""

    rule: Rule
    sensors: tuple[str, ...]
    value: int
    acts: Rule
    scans: int
    paths: tuple[str, ...]


def situations(scheme: Scheme, known: Plain, say: Callable[..., str]) -> str:
    """The list of the first of them, each limit once though several rules hear of it."""
    mark = str(known["mark"])
    listed: dict[str, Situation] = {}
    for one in found(scheme):
        listed.setdefault(one.rule.name, one)
    rows = "".join(_row(scheme, mark, one, say) for one in list(listed.values())[:MOST])
    return f'<h3>{say("situations")}</h3>\n<ul class="bench-situations">{rows}</ul>\n' if rows else ""


def _row(scheme: Scheme, mark: str, one: Situation, say: Callable[..., str]) -> str:
    links = "".join(f' <a href="#{escape(link(scheme, mark, one, path))}">{escape(path)}</a>' for path in one.paths)
    quantities = dict.fromkeys(m.quantity for s in one.sensors for m in scheme.sensors[s].measures)
    measures = say("measures", quantities=", ".join(quantities))
    stops = say("situation_stops", rule=one.acts.name)
    return f"<li>{_words(scheme, say, one)} <small>{measures}</small><br><small>{stops}</small>{links}</li>\n"


def links(scheme: Scheme, known: Plain) -> Mapping[tuple[str, str], str]:
    """For each rule that acts in a situation, and each path that it then stops, the address of that on the page."""
    mark = str(known["mark"])
    made: dict[tuple[str, str], str] = {}
    for one in found(scheme):
        for path in one.paths:
            made.setdefault((one.acts.name, path), link(scheme, mark, one, path))
    return made


def found(scheme: Scheme) -> list[Situation]:
    """All situations, in the order of their rules: for each that holds a reading against a limit, what stops."""
    return [one for rule in scheme.rules.values() for one in _of(scheme, rule)]


def _of(scheme: Scheme, rule: Rule) -> Iterator[Situation]:
    limit = rule.trips.test
    if not isinstance(limit, Limit):
        return
    reading = scheme.readings.get(rule.watched) if rule.watches is Signal.READING else None
    if reading and reading.combine is Combine.DIFFERENCE_OF:
        return
    sensors = reading.sensors if reading else (rule.watched,)
    if any(name not in scheme.sensors for name in sensors):
        return
    valid = Interval(
        max(scheme.sensors[s].valid.low for s in sensors), min(scheme.sensors[s].valid.high for s in sensors)
    )
    value = _beyond(limit, valid)
    for acts, scans in _acting(scheme, rule):
        paths = tuple(dict.fromkeys(t.path for t in acts.blocks if not t.when))
        if paths and scans + 2 <= LONGEST:
            yield Situation(rule, sensors, value, acts, scans, paths)


def _acting(scheme: Scheme, rule: Rule) -> Iterator[tuple[Rule, int]]:
    """The rule itself, or else those on a line by which it tells another unit; and the scans until each is in force."""
    if rule.blocks:
        yield rule, rule.trips.delay.scans
        return
    for other in scheme.rules.values():
        line = scheme.lines[other.watched] if other.watches is Signal.LINE else None
        if line and rule.name in line.rules and other.trips.test is (line.form is LineForm.HIGH_WHEN):
            yield other, rule.trips.delay.scans + other.trips.delay.scans + 1


def _beyond(limit: Limit, valid: Interval) -> int:
    """A value well beyond a limit, rounded to one figure, and still a valid one."""
    far = (valid.high - valid.low) // BEYOND
    unit = int("1" + "0" * (len(str(far)) - 1))
    far = max(1, far // unit) * unit
    value = limit.value - far if limit.compare.downward else limit.value + far
    if valid.low < value < valid.high:
        return value
    return (limit.value + (valid.low if limit.compare.downward else valid.high)) // 2


def link(scheme: Scheme, mark: str, one: Situation, path: str) -> str:
    """The fragment of an address that sets a situation and opens a path that it stops, once that has stopped."""
    stops = max((scheme.outputs[o].stops_within.scans for o in scheme.paths[path].outputs), default=0)
    now = min(one.scans + stops + 2, LONGEST)
    acts = ";".join(f"0,r,{name},{one.value}" for name in one.sensors)
    return f"bench={mark},rest,{now},{path};{acts}"


def _words(scheme: Scheme, say: Callable[..., str], one: Situation) -> str:
    shown = value_text(one.value, scheme.sensors[one.sensors[0]].kind)
    *first, last = one.sensors
    if not first:
        return say("situation", sensor=last, value=shown)
    return say("situation_many", sensors=", ".join(first), sensor=last, value=shown)
