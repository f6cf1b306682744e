"""What can be wrong at commissioning: the catalogue's faults, and settings that someone mistyped."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from interlock.logic.program import Setting, setting_name
from interlock.records import replace
from interlock.scheme.model import Delay, Fault, Limit, Rule, Scheme, Trigger


@dataclass(frozen=True, slots=True)
class Slip:
    """A rule with one setting mistyped: `value` in millionths for a limit, in scans for a time."""

    rule: str
    setting: Setting
    value: int
    more: bool  # whether it is more than the scheme has

    @property
    def of_limit(self) -> bool:
        """Whether a limit is mistyped; else a time."""
        return self.setting in (Setting.TRIP_LIMIT, Setting.CLEAR_LIMIT)

    @property
    def name(self) -> str:
        """`RULE.trip_limit_high`, `RULE.clear_delay_short` and the like."""
        way = ("high" if self.more else "low") if self.of_limit else ("long" if self.more else "short")
        return f"{setting_name(self.rule, self.setting)}_{way}"


Wrong = Fault | Slip


def usual(rule: Rule, setting: Setting) -> int | None:
    """A setting as the scheme has it, in millionths or scans; None where the rule has none such."""
    match setting:
        case Setting.TRIP_LIMIT | Setting.CLEAR_LIMIT:
            test = (rule.trips if setting is Setting.TRIP_LIMIT else rule.clears).test
            return test.value if isinstance(test, Limit) else None
        case Setting.TRIP_DELAY:
            return rule.trips.delay.scans
        case Setting.CLEAR_DELAY:
            return rule.clears.delay.scans
        case Setting.OVERRIDE:
            return rule.override_at_most.scans if rule.override_at_most else None


def with_slips(scheme: Scheme, slips: Iterable[Slip]) -> Scheme:
    """The scheme as it is with these settings mistyped."""
    rules = dict(scheme.rules)
    for slip in slips:
        rules[slip.rule] = _typed(rules[slip.rule], slip, scheme.scan_us)
    return replace(scheme, rules=rules)


def _typed(rule: Rule, slip: Slip, scan_us: int) -> Rule:
    def limit(trigger: Trigger) -> Trigger:
        assert isinstance(trigger.test, Limit), "a limit is mistyped where there is one"
        return replace(trigger, test=replace(trigger.test, value=slip.value))

    delay = Delay(slip.value * scan_us, slip.value)
    match slip.setting:
        case Setting.TRIP_LIMIT:
            return replace(rule, trips=limit(rule.trips))
        case Setting.CLEAR_LIMIT:
            return replace(rule, clears=limit(rule.clears))
        case Setting.TRIP_DELAY:
            return replace(rule, trips=replace(rule.trips, delay=delay))
        case Setting.CLEAR_DELAY:
            return replace(rule, clears=replace(rule.clears, delay=delay))
        case Setting.OVERRIDE:
            return replace(rule, override_at_most=delay)
