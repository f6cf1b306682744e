"""A wish that is granted comes true on the engine, whatever the readings are picked from what is left."""

from __future__ import annotations

import random
from collections import Counter

from interlock.fuzz.faults import Plan
from interlock.fuzz.region import ZERO, Region, Style, TruthError, groups, possible
from interlock.fuzz.wishes import Wishes
from interlock.logic.faultset import FaultSet
from interlock.logic.readings import compare
from interlock.logic.scan import Engine, World
from interlock.scheme.model import Limit, Rule, Scheme
from interlock.scheme.read import loads
from interlock.scheme.words import Combine, OnInvalid, Part, Signal
from tests.support.random_schemes import BROAD, random_scheme_text


def moved(engine: Engine, rule: Rule) -> bool | None:
    """Which way the rule's reading moves it: True to active, False to clear, None neither."""
    value = engine.look(rule.unit, rule.watches, rule.watched)
    if value is None:
        return {OnInvalid.TRIP: True, OnInvalid.CLEAR: False, OnInvalid.HOLD: None}[rule.on_invalid]
    assert isinstance(rule.trips.test, Limit)
    assert isinstance(rule.clears.test, Limit)
    if compare(value, rule.trips.test):
        return True
    return False if compare(value, rule.clears.test) else None


def with_all(region: Region, base: dict[str, int], names: tuple[str, ...], style: Style) -> dict[str, int]:
    return {**base, **region.copy().pick(names, style, base)}


def pinned(rng: random.Random, region: Region, quantities: list[str]) -> Region:
    """Truth at some place, the readings still free within their errors."""
    region = region.copy()
    for name in quantities:
        value = rng.randint(*region.range(name))
        assert region.add_all([(name, ZERO, value), (ZERO, name, -value)])
    return region


def regions(scheme: Scheme, plan: Plan) -> list[tuple[tuple[str, ...], Region]]:
    errors = plan.errors(scheme, ())
    return [((*q, *s), possible(scheme, q, s, errors)) for q, s in groups(scheme)]


def kind_of_watch(scheme: Scheme, rule: Rule) -> str:
    return "sensor" if rule.watches is Signal.SENSOR else str(scheme.readings[rule.watched].combine)


def test_granted_wishes_come_true_on_random_schemes() -> None:
    """Never moved the other way; moved as wished wherever some reading that truth admits would do that."""
    rng = random.Random("wishes")
    counts: Counter[str] = Counter()
    for _ in range(100):
        scheme = loads(random_scheme_text(rng, BROAD))
        swaps = [f for f in scheme.faults.values() if f.part is Part.SENSOR and len(f.parts) == 2]
        plan = Plan.of(scheme, rng.sample(swaps, 1) if swaps and rng.random() < 0.4 else ())
        wishes = Wishes(scheme, FaultSet(plan.installed))
        try:
            known = regions(scheme, plan)
        except TruthError:
            continue
        base: dict[str, int] = {}
        for names, region in known:
            base = with_all(region, base, names, Style.PLAIN)
        for rule in scheme.rules.values():
            elements = wishes.elements(rule)
            if not elements:
                continue
            names, region = next((n, r) for n, r in known if elements[0] in n)
            if rng.random() < 0.6:  # a wish is easily granted where truth may be anywhere
                region = pinned(rng, region, [n for n in names if n in scheme.quantities])
            for active in (True, False):
                granted = wishes.grant(region, rule, active, rng.randrange(3))
                word = kind_of_watch(scheme, rule)
                counts[f"{word} {'granted' if granted else 'refused'}"] += 1
                ways: dict[bool, set[bool | None]] = {True: set(), False: set()}
                for style in Style:
                    for source in (granted, region):
                        if source is None:
                            continue
                        values = with_all(source, base, names, style)
                        engine = Engine(scheme, plan.installed)
                        engine.scan(World({s: values[s] for s in scheme.sensors}))
                        ways[source is granted].add(moved(engine, rule))
                assert (not active) not in ways[True], (word, rule)
                if active in ways[False]:  # truth allows it: at an end of the region it happens by itself
                    assert ways[True] == {active}, (word, rule)
    print(dict(sorted(counts.items())))
    assert {c.split()[0] for c in counts if counts[c]} == {"sensor", *(str(c) for c in Combine)}
    assert sum(n for c, n in counts.items() if c.endswith("refused")) > 10
