"""One claim under one fault set, made ready to be attacked: its guide, and the values that grant wishes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from interlock.fuzz.faults import Plan
from interlock.fuzz.guide import Guide, guide_of
from interlock.fuzz.judge import Resets, resets_of
from interlock.fuzz.region import Region, Style, groups, possible, within
from interlock.fuzz.wishes import Wishes
from interlock.logic.faultset import FaultSet
from interlock.scheme.model import Claim, Limit, Scheme, SensorError
from interlock.scheme.words import LineForm, Signal

Values = Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Group:
    """Quantities and sensors that hang together, the claim's rules that read them, whether the claim looks at them."""

    quantities: tuple[str, ...]
    sensors: tuple[str, ...]
    rules: tuple[str, ...]
    limited: bool

    @property
    def concerns(self) -> bool:
        """Whether it matters to the claim at all."""
        return self.limited or bool(self.rules)


class Aim:
    """What a behaviour against a claim is made of. Raises TruthError where no truth can occur at all."""

    def __init__(self, scheme: Scheme, claim: Claim, plan: Plan, alternative: int = 0) -> None:
        self.scheme, self.claim, self.plan = scheme, claim, plan
        self.resets: Resets = resets_of(claim)
        self.guide: Guide = guide_of(scheme, claim, plan, alternative)
        self.external = tuple(n for n, line in scheme.lines.items() if line.form is LineForm.EXTERNAL)
        self._wishes = Wishes(scheme, FaultSet(plan.installed))
        self._limits = {
            c.name: [c2.test for c2 in claim.conditions if c2.name == c.name and isinstance(c2.test, Limit)]
            for c in claim.conditions
            if c.signal is Signal.QUANTITY
        }
        self.groups = tuple(self._group(*members) for members in groups(scheme))
        self._regions: dict[tuple[int, tuple[tuple[SensorError, ...], ...]], Region] = {}
        self._found: dict[object, Values] = {}
        self.start = self._start()

    def _group(self, quantities: tuple[str, ...], sensors: tuple[str, ...]) -> Group:
        rules = [
            name for name in self.guide.rules if set(self._wishes.elements(self.scheme.rules[name])) & set(sensors)
        ]
        return Group(quantities, sensors, tuple(rules), any(q in self._limits for q in quantities))

    def _start(self) -> Values:
        errors = self.plan.errors(self.scheme, ())
        found: dict[str, int] = {}
        for number in range(len(self.groups)):
            found.update(self.values(number, errors, (), False, Style.PLAIN, 0, {}))
        return found

    def region(self, number: int, errors: Mapping[str, tuple[SensorError, ...]]) -> Region:
        """All that a group can be under these errors."""
        group = self.groups[number]
        key = (number, tuple(errors[name] for name in group.sensors))
        if key not in self._regions:
            self._regions[key] = possible(self.scheme, group.quantities, group.sensors, errors)
        return self._regions[key]

    def values(
        self,
        number: int,
        errors: Mapping[str, tuple[SensorError, ...]],
        wanted: Sequence[tuple[str, bool]],
        met: bool,
        style: Style,
        turn: int,
        before: Values,
    ) -> Values:
        """Truths and readings of a group that grant as many wishes (a rule active or not) as they can, the first ones
        first; `met`: within the claim's conditions. Where the style leaves a choice, close to `before`."""
        group = self.groups[number]
        names = (*group.quantities, *group.sensors)
        key = (
            number,
            tuple(errors[name] for name in group.sensors),
            tuple(wanted),
            met,
            style,
            turn,
            tuple(before.get(name) for name in names),
        )
        if key not in self._found:
            region = self.region(number, errors)
            if met:
                trial = region.copy()
                limits = [within(limit, name) for name in group.quantities for limit in self._limits.get(name, ())]
                region = trial if trial.add_all(limits) else region
            for name, active in wanted:
                region = self._wishes.grant(region, self.scheme.rules[name], active, turn) or region
            self._found[key] = region.copy().pick(names, style, before)
        return self._found[key]
