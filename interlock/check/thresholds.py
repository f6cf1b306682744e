"""Thresholds held against the sensors behind them: hysteresis, error, dead range."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from interlock.check.chains import condition_text, limit_text, test_text
from interlock.check.facts import Facts
from interlock.check.guards import Protection
from interlock.check.idents import Ident
from interlock.check.make import finding, listed
from interlock.check.reach import healthy, sensors_of, steady
from interlock.scheme.findings import Finding
from interlock.scheme.model import Claim, Limit, Rule, Sensor
from interlock.scheme.source import Place
from interlock.scheme.units import Kind, value_text
from interlock.scheme.words import Combine, OnInvalid, Signal


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family."""
    for rule in facts.scheme.rules.values():
        if rule.watches in (Signal.SENSOR, Signal.READING):
            yield from _small_hysteresis(facts, rule)
            yield from _dead_range(facts, rule)
    yield from _error_over_limit(facts)


def _limits(rule: Rule) -> tuple[Limit, Limit]:
    assert isinstance(rule.trips.test, Limit)
    assert isinstance(rule.clears.test, Limit)
    return rule.trips.test, rule.clears.test


def _kind(facts: Facts, rule: Rule) -> Kind:
    return sensors_of(facts.scheme, rule.watches, rule.watched)[0].kind


def _is_difference(facts: Facts, rule: Rule) -> bool:
    return rule.watches is Signal.READING and (facts.scheme.readings[rule.watched].combine is Combine.DIFFERENCE_OF)


# --- hysteresis


def _small_hysteresis(facts: Facts, rule: Rule) -> Iterator[Finding]:
    """While the truth stands still, readings must not both trip and clear the rule."""
    found = steady(facts.truths, rule.watches, rule.watched)
    if found is None:
        return
    low, high = found
    trips, clears = _limits(rule)
    gap, width = abs(trips.value - clears.value), high - low
    strict = trips.compare.strict or clears.compare.strict
    if gap > width or (gap == width and strict):
        return
    if _is_difference(facts, rule):  # a difference has no truth to move along with: the readings stay where they are
        upper, lower = max(trips.value, clears.value), min(trips.value, clears.value)
        if upper > high or lower < low or (strict and (upper, lower) == (high, low)):
            return
    kind = _kind(facts, rule)
    shown_gap, shown_width = (value_text(v, kind, difference=True) for v in (gap, width))
    yield finding(
        Ident.SMALL_HYSTERESIS,
        rule.name,
        rule.clears.place,
        f"`{rule.name}` trips {test_text(facts.scheme, rule.watches, rule.watched, trips)} and clears "
        f"{test_text(facts.scheme, rule.watches, rule.watched, clears)}: {shown_gap} apart, and `{rule.watched}` may "
        f"read anything in {shown_width} while nothing changes",
        f"let it clear more than {shown_width} from where it trips; a delay only makes the chatter slower",
        ((rule.trips.place, "trips here"), (_place(facts, rule), "its error stands here")),
    )


def _place(facts: Facts, rule: Rule) -> Place:
    return sensors_of(facts.scheme, rule.watches, rule.watched)[0].place


# --- error


def _error_over_limit(facts: Facts) -> Iterator[Finding]:
    """Claims whose every protection may still stand still at the limit, because a sensor may read too well."""
    worst: dict[tuple[str, str], tuple[Protection, list[Claim]]] = {}
    for claim, guard in facts.guards:
        if guard.protections and not guard.enough and not guard.loosely:
            best = min(guard.protections, key=lambda p: p.beyond)
            worst.setdefault((_threshold_rule(best), claim.requirement), (best, []))[1].append(claim)
    for protection, claims in worst.values():
        yield _error_finding(facts, protection, claims)


def _threshold_rule(protection: Protection) -> str:
    return protection.chain.first.rule if protection.chain else protection.rule


def _error_finding(facts: Facts, protection: Protection, claims: list[Claim]) -> Finding:
    scheme, condition, chain = facts.scheme, protection.condition, protection.chain
    assert chain is not None
    assert isinstance(chain.test, Limit)
    assert isinstance(condition.test, Limit)
    rule = scheme.rules[chain.first.rule]
    trigger = rule.trips if chain.first.active else rule.clears
    does = "trips" if chain.first.active else "clears"
    kind = _kind(facts, rule)
    error = value_text(abs(Fraction(protection.worst) - condition.test.value), kind, difference=True)
    worst = value_text(protection.worst, kind)
    by = value_text(protection.beyond, kind, difference=True)
    wrong = f"{worst}, {by} on the wrong side" if protection.beyond else f"{worst}, which is not past the threshold"
    return finding(
        Ident.ERROR_OVER_LIMIT,
        rule.name,
        trigger.place,
        f"`{rule.name}` {does} {test_text(scheme, chain.signal, chain.name, chain.test)}, and "
        f"`{claims[0].requirement}` needs it once {condition_text(scheme, condition)}: there `{chain.name}` may still "
        f"read {wrong}",
        f"with an error of up to {error} the threshold must be "
        f"{'at least' if condition.test.compare.downward else 'at most'} {worst} to protect "
        f"{listed(c.path for c in claims)}, better with some margin; or fit a better sensor",
        ((claims[0].place, f"the limit is {limit_text(scheme, condition.signal, condition.name, condition.test)}"),),
    )


# --- dead range


def _dead_range(facts: Facts, rule: Rule) -> Iterator[Finding]:
    """A rule that is to trip where its sensor has no valid reading left."""
    trips, _ = _limits(rule)
    if _is_difference(facts, rule):
        return
    sensors = sensors_of(facts.scheme, rule.watches, rule.watched)
    blind = [found for s in sensors if (found := _blind(facts, s, rule, trips))]
    if len(blind) < len(sensors):
        return
    edge, why = blind[0]
    kind, sensor = _kind(facts, rule), sensors[0]
    yield finding(
        Ident.DEAD_RANGE,
        rule.name,
        rule.trips.place,
        f"`{rule.name}` trips {test_text(facts.scheme, rule.watches, rule.watched, trips)}, and `{sensor.name}` has no "
        f"valid reading {'below' if trips.compare.downward else 'above'} {value_text(edge, kind)}: {why}",
        "choose a sensor whose valid range goes well past the threshold, move the threshold, or say `on_invalid: trip`",
        ((sensor.place, "its valid range"),),
    )


def _blind(facts: Facts, sensor: Sensor, rule: Rule, trips: Limit) -> tuple[int, str] | None:
    """The edge of the valid range on the trip side, and what is wrong with it; None where nothing is."""
    reads, downward = healthy(facts.truths, sensor), trips.compare.downward
    edge = sensor.valid.low if downward else sensor.valid.high
    beyond = reads.low < edge if downward else reads.high > edge
    if not beyond:
        return None
    if rule.on_invalid is not OnInvalid.TRIP:
        counts = "clear" if rule.on_invalid is OnInvalid.CLEAR else "nothing"
        return edge, f"where it should trip the reading is invalid, and an invalid one counts as {counts}"
    width = min(e.interval.high - e.interval.low for e in sensor.measures)
    room = trips.value - edge if downward else edge - trips.value
    if room < width:
        return edge, "within its error of that edge it can't tell the threshold from a lost reading"
    return None
