"""What rules make of their sensors' readings, for the brute force: exact values, valid bounds, critical values."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from interlock.scheme.model import Limit, Reading, Rule, Scheme, SensorError
from interlock.scheme.words import Combine, Compare, OnInvalid, Part, Signal
from tests.support.brute_parts import CLEARS, HOLDS, NEITHER, TRIPS, Plan


@dataclass(frozen=True)
class Atom:
    """A condition on a quantity; the limit in millionths, perhaps between them (for margins)."""

    quantity: str
    compare: Compare
    limit: Fraction


@dataclass(frozen=True)
class Live:
    """An element that follows the truth with this error; `keeps` where what it reads is remembered (a stuck sensor)."""

    errors: tuple[SensorError, ...]
    keeps: bool = False


@dataclass(frozen=True)
class Fixed:
    """An element that reads one value whatever the truth; None: no reading. `fits`: only truths with which it could
    read that value, with this error (the scan at which it sticks)."""

    value: Fraction | None
    fits: tuple[SensorError, ...] = ()


Element = Live | Fixed


def meets(value: Fraction | int, compare: Compare, limit: Fraction | int) -> bool:
    """A comparison."""
    return {
        Compare.BELOW: value < limit,
        Compare.ABOVE: value > limit,
        Compare.AT_OR_BELOW: value <= limit,
        Compare.AT_OR_ABOVE: value >= limit,
    }[compare]


def combined(reading: Reading, values: Sequence[Fraction]) -> Fraction | None:
    """A derived reading from its valid sensors' values."""
    if len(values) < reading.needs:
        return None
    inorder = sorted(values)
    match reading.combine:
        case Combine.LOWEST_OF:
            return inorder[0]
        case Combine.HIGHEST_OF:
            return inorder[-1]
        case Combine.DIFFERENCE_OF:
            return inorder[-1] - inorder[0]
        case Combine.AVERAGE_OF:
            return sum(inorder, Fraction(0)) / len(inorder)
        case Combine.MEDIAN_OF:
            half = len(inorder) // 2
            return inorder[half] if len(inorder) % 2 else (inorder[half - 1] + inorder[half]) / 2


def rule_sees(rule: Rule, value: Fraction | None) -> int:
    """Which condition holds on a reading (None: invalid)."""
    if value is None:
        return {OnInvalid.TRIP: TRIPS, OnInvalid.CLEAR: CLEARS, OnInvalid.HOLD: HOLDS}[rule.on_invalid]
    for trigger, seen in ((rule.trips, TRIPS), (rule.clears, CLEARS)):
        assert isinstance(trigger.test, Limit)
        if meets(value, trigger.test.compare, trigger.test.value):
            return seen
    return NEITHER


def thresholds(rule: Rule) -> list[Fraction]:
    """The values at which a rule changes its mind."""
    return [Fraction(t.test.value) for t in (rule.trips, rule.clears) if isinstance(t.test, Limit)]


class Inputs:
    """The rules of a cone that watch values, and the elements that feed them."""

    def __init__(self, scheme: Scheme, rules: Iterable[str], plan: Plan) -> None:
        self.scheme = scheme
        self.rules = [scheme.rules[r] for r in rules if scheme.rules[r].watches.numeric]
        partner = plan.present(0).partner
        names: dict[str, str] = {}
        for rule in self.rules:
            for sensor in self.sensors(rule):
                names[sensor] = partner.get((Part.SENSOR, sensor), sensor)
        self.element_of = names  # input: the element on it
        self.input_of = {element: sensor for sensor, element in names.items()}

    def sensors(self, rule: Rule) -> tuple[str, ...]:
        """The inputs a rule looks at."""
        return (rule.watched,) if rule.watches is Signal.SENSOR else self.scheme.readings[rule.watched].sensors

    def value(self, rule: Rule, elements: Mapping[str, Fraction | None]) -> Fraction | None:
        """What a rule watches, from the elements' values (None: lost)."""
        values = []
        for sensor in self.sensors(rule):
            value = elements[self.element_of[sensor]]
            valid = self.scheme.sensors[sensor].valid
            if value is not None and valid.low <= value <= valid.high:
                values.append(value)
        if rule.watches is Signal.SENSOR:
            return values[0] if values else None
        return combined(self.scheme.readings[rule.watched], values)

    def critical(self, element: str) -> list[Fraction]:
        """Values at which an element's own worth changes: valid bounds, thresholds on it or on what it is part of."""
        sensor = self.input_of[element]
        valid = self.scheme.sensors[sensor].valid
        values = {Fraction(valid.low), Fraction(valid.high)}
        for rule in self.rules:
            if sensor in self.sensors(rule):
                values.update(thresholds(rule))
        return sorted(values)

    def mixing(self, rule: Rule, config: Mapping[str, Element]) -> bool:
        """Whether a rule weighs two or more live sensors against each other."""
        return self.weighs(rule) and sum(isinstance(config[self.element_of[s]], Live) for s in self.sensors(rule)) > 1

    def weighs(self, rule: Rule) -> bool:
        """Whether the rule's reading is more than one of its sensors' readings."""
        if rule.watches is Signal.SENSOR:
            return False
        reading = self.scheme.readings[rule.watched]
        if reading.combine is Combine.MEDIAN_OF:
            return reading.needs < len(reading.sensors) or len(reading.sensors) % 2 == 0
        return reading.combine in (Combine.AVERAGE_OF, Combine.DIFFERENCE_OF)

    def more_critical(self, element: str, config: Mapping[str, Element]) -> list[Fraction]:
        """The further critical values of the one live element of a weighing rule, given the fixed ones."""
        found: list[Fraction] = []
        for rule in self.rules:
            if not self.weighs(rule) or self.input_of[element] not in self.sensors(rule):
                continue
            fixed = []
            for sensor in self.sensors(rule):
                other, valid = config[self.element_of[sensor]], self.scheme.sensors[sensor].valid
                if isinstance(other, Fixed) and other.value is not None and valid.low <= other.value <= valid.high:
                    fixed.append(other.value)
            if not fixed:
                continue
            fixed.sort()
            for limit in thresholds(rule):
                match self.scheme.readings[rule.watched].combine:
                    case Combine.AVERAGE_OF:
                        found.append(limit * (len(fixed) + 1) - sum(fixed))
                    case Combine.DIFFERENCE_OF:
                        found += [fixed[0] + limit, fixed[-1] - limit]
                    case _:
                        found.append(2 * limit - fixed[len(fixed) // 2])
        return found
