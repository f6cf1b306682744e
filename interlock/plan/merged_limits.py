"""Limits that lie so close together that nothing can be given which is between them for certain.

Whatever is given there, what is read may as well lie beyond one of them. So a scheme in which such limits are one is a
way in which the installation may behave, whatever anyone does to it: what differs for no longer than a moment in that
scheme is not seen for certain in any test.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise

from interlock.plan.stimuli import Stimuli, error_of, rule_limits
from interlock.plan.wrong import Slip, Wrong
from interlock.records import replace
from interlock.scheme.model import Limit, Rule, Scheme, Trigger
from interlock.scheme.words import Combine, Signal

Limits = Mapping[int, int]  # each limit by the one it is merged with
Group = tuple[tuple[str, ...], int]  # rules whose limits are compared with one another; how wide the error is


def merged(stimuli: Stimuli, scheme: Scheme, wrong: Wrong) -> Iterator[tuple[Scheme, Wrong]]:
    """The scheme and what is wrong with limits merged, in each way that is tried; none where none are so close."""
    tried: list[Mapping[str, Limits]] = []
    for order in range(3):
        maps = {name: limits for group in _groups(stimuli) for name, limits in _of(scheme, group, wrong, order)}
        if any(maps.values()) and maps not in tried:
            tried.append(maps)
            rules = {n: _with(rule, maps.get(n, {})) for n, rule in scheme.rules.items()}
            yield replace(scheme, rules=rules), _typed(wrong, maps)


def _groups(stimuli: Stimuli) -> Iterator[Group]:
    """Rules on sensors that readings combine have their limits on one scale."""
    scheme = stimuli.scheme
    names = list(scheme.sensors)
    for members in ({names[i] for i in group} for group in stimuli.groups()):
        rules = []
        for rule in scheme.rules.values():
            of = scheme.readings.get(rule.watched) if rule.watches is Signal.READING else None
            absolute = rule.watches is Signal.SENSOR or (of and of.combine is not Combine.DIFFERENCE_OF)
            if absolute and members & {s.name for s in stimuli.watched_sensors(rule)}:
                rules.append(rule.name)
        yield tuple(rules), min(high - low for low, high in (error_of(scheme.sensors[m]) for m in members))


def _of(scheme: Scheme, group: Group, wrong: Wrong, order: int) -> Iterator[tuple[str, Limits]]:
    """For each rule of a group how its limits are merged. `order`: the narrowest gaps first, or from one end on."""
    names, width = group
    pairs = [[*rule_limits(scheme.rules[name])] for name in names]
    if isinstance(wrong, Slip) and wrong.of_limit and wrong.rule in names:
        pairs.append([*rule_limits(scheme.rules[wrong.rule]), wrong.value])
    cuts = sorted({limit for pair in pairs for limit in pair})
    gaps = [gap for gap in pairwise(cuts) if gap[1] - gap[0] < width]
    gaps.sort(key=lambda gap: (gap[1] - gap[0], -gap[0], gap[0])[order])
    chain = {cut: (cut, cut) for cut in cuts}  # the lowest and the highest of those that are one
    for low, high in gaps:
        joined = chain[low][0], chain[high][1]
        inside = [cut for cut in cuts if joined[0] <= cut <= joined[1]]
        own = any(len({*pair} & {*inside}) > 1 for pair in pairs)
        if joined[1] - joined[0] < width and not own:
            chain |= dict.fromkeys(inside, joined)
    limits = {cut: ends[1] for cut, ends in chain.items() if ends[1] != cut}
    return iter([(name, limits) for name in names])


def _with(rule: Rule, limits: Limits) -> Rule:
    def trigger(t: Trigger) -> Trigger:
        test = t.test
        return (
            replace(t, test=replace(test, value=limits.get(test.value, test.value))) if isinstance(test, Limit) else t
        )

    return replace(rule, trips=trigger(rule.trips), clears=trigger(rule.clears)) if limits else rule


def _typed(wrong: Wrong, maps: Mapping[str, Limits]) -> Wrong:
    if isinstance(wrong, Slip) and wrong.of_limit:
        return replace(wrong, value=maps.get(wrong.rule, {}).get(wrong.value, wrong.value))
    return wrong
