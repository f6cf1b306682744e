"""The steps of the grading: what acts on one side of a quantity, how early and how late the truth can be for it.

On the upper side of a quantity a step acts while the truth rises, on the lower side while it falls. `first` and `last`
are the truths at which it can act at the earliest and at the latest, counted so that later is larger on both sides.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from interlock.check.facts import Facts
from interlock.scheme.bands import limited, looked_after, reading_error, truth_at
from interlock.scheme.model import Device, DeviceLimit, Interval, Limit, Rule, Scheme
from interlock.scheme.units import Kind
from interlock.scheme.words import Combine, Signal

# What moves slowly against any delay of a rule: a cell warms and a charge level falls in minutes, a voltage dips at
# once (common practice, no source). Only where the truth can jump past two steps do their delays decide.
SLOW = frozenset({Kind.TEMPERATURE, Kind.PERCENT, Kind.CAPACITY, Kind.ENERGY, Kind.PRESSURE})

Instrument = tuple[str, tuple[str, ...]]  # how several sensors are combined ("" for one), and which


@dataclass(frozen=True, slots=True)
class Step:
    """A rule's trip on one side of a quantity. `delays`: for each path it stops, microseconds until it is told to stop.

    `conditional`: something may keep it from acting. `instrument`: what it reads.
    """

    rule: Rule
    quantity: str
    downward: bool
    value: int
    truth: Interval
    delays: dict[str, int]
    conditional: bool
    instrument: Instrument

    @property
    def first(self) -> int:
        """The truth at which it can act at the earliest; larger is later."""
        return -self.truth.high if self.downward else self.truth.low

    @property
    def last(self) -> int:
        """The truth at which it acts at the latest; larger is later."""
        return -self.truth.low if self.downward else self.truth.high


def steps(facts: Facts) -> tuple[Step, ...]:
    """Every rule that trips on a value and stops a path, or only tells someone, once for each quantity it follows."""
    scheme = facts.scheme
    delays, conditional = _effects(facts)
    limits = {downward: limited(scheme, downward=downward) for downward in (True, False)}
    found = []
    for rule in scheme.rules.values():
        test = rule.trips.test
        acts = rule.name in delays or (rule.alarm and not rule.blocks)
        if not isinstance(test, Limit) or not acts or rule.starts:
            continue
        for quantity in looked_after(scheme, rule, limits[test.compare.downward]):
            error = reading_error(scheme, rule.watches, rule.watched, quantity)
            if error is not None:
                found.append(
                    Step(
                        rule,
                        quantity,
                        test.compare.downward,
                        test.value,
                        truth_at(test.value, error),
                        delays.get(rule.name, {}),
                        rule.name in conditional,
                        _instrument(scheme, rule),
                    )
                )
    return tuple(found)


def _effects(facts: Facts) -> tuple[dict[str, dict[str, int]], set[str]]:
    """For each rule that looks at a value: the paths it stops, directly or along lines, and after what time; and the
    rules on whose way something else has a say."""
    scheme, stops = facts.scheme, facts.protections.stops
    delays: dict[str, dict[str, int]] = {}
    conditional: set[str] = set()
    for path in scheme.paths:
        for stop in stops.all(stops.alike(path)):
            for chain in facts.chains.of(stop.rule):
                if not isinstance(chain.test, Limit) or not chain.first.active:
                    continue
                rules = [scheme.rules[hop.rule] for hop in chain.hops]
                took = sum(
                    (r.trips if hop.active else r.clears).delay.us for r, hop in zip(rules, chain.hops, strict=True)
                )
                known = delays.setdefault(chain.first.rule, {})
                known[path] = min(took, known.get(path, took))
                if any(r.only_while or r.overridden_by for r in rules):
                    conditional.add(chain.first.rule)
    return delays, conditional


def _instrument(scheme: Scheme, rule: Rule) -> Instrument:
    if rule.watches is Signal.READING:
        reading = scheme.readings[rule.watched]
        combine = (
            "" if len(reading.sensors) == 1 and reading.combine is not Combine.DIFFERENCE_OF else str(reading.combine)
        )
        return combine, tuple(sorted(reading.sensors))
    return "", (rule.watched,)


def own_side(limit: DeviceLimit) -> bool | None:
    """Whether a device's own setting acts while the truth falls (True) or rises (False); None for a re-connect."""
    return None if limit.which.cut_off else limit.which.downward


def own_last(limit: DeviceLimit) -> int:
    """The truth at which a device's own setting acts at the latest; larger is later."""
    return -limit.truth.low if own_side(limit) else limit.truth.high


def next_step(all_steps: tuple[Step, ...], device: Device, limit: DeviceLimit) -> Step | None:
    """The rule that stops the device's path next on that side of the quantity: the one that can act the earliest."""
    return min(_after(all_steps, device, limit), key=lambda s: s.first, default=None)


def _after(all_steps: tuple[Step, ...], device: Device, limit: DeviceLimit) -> Iterator[Step]:
    for step in all_steps:
        if step.quantity == limit.quantity and step.downward is own_side(limit) and device.path in step.delays:
            yield step
