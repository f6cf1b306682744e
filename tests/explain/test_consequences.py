"""What the explanation says of chains and broken wires is what the engine does."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import islice

from interlock.explain.chains import chain
from interlock.explain.closed import Cause
from interlock.explain.injection import consequence
from interlock.explain.phrases import text
from interlock.explain.rules import lines
from interlock.explain.words import Say
from interlock.logic.scan import Engine
from interlock.scheme.model import Fault, Output, Scheme
from interlock.scheme.words import Mode, Part, Signal, State
from tests.explain.schemes import everything, own, random_schemes
from tests.explain.test_words import phrases_in
from tests.support.random_schemes import random_worlds

SCHEMES = (everything(), *own(), *random_schemes(60))

FAULTS: dict[Cause, Callable[[Output], Fault]] = {
    Cause.UNIT_DEAD: lambda output: Fault("dead", Part.UNIT, Mode.DEAD, (output.unit,)),
    Cause.WIRE_BROKEN: lambda output: Fault("broken", Part.OUTPUT, Mode.WIRE_BROKEN, (output.name,)),
    Cause.CONTACT_WELDED: lambda output: Fault("welded", Part.OUTPUT, Mode.WELDED, (output.name,)),
}


def alone(scheme: Scheme, output: Output) -> str | None:
    """A path that this output alone decides over."""
    return next((p for p in output.drives if len(scheme.paths[p].outputs) == 1 and not scheme.paths[p].behind), None)


def test_a_chain_ends_as_the_engine_says_for_every_cause() -> None:
    compared = dict.fromkeys(Cause, 0)
    for seed, scheme in enumerate(SCHEMES):
        for output in scheme.outputs.values():
            path = alone(scheme, output)
            if path is None:
                continue
            for cause, fault in FAULTS.items():
                engine = Engine(scheme, [fault(output)])
                seen = None
                for world in random_worlds(random.Random(seed), scheme, (), output.stops_within.scans + 30):
                    seen = engine.scan(world)
                assert seen is not None
                told = chain(output, cause)
                if cause is not Cause.WIRE_BROKEN:
                    assert seen.closed[output.name] is told.closed
                if cause is not Cause.UNIT_DEAD or output.starts_within.scans <= 30:
                    assert seen.running(path) is told.runs, (scheme.title, output.name, cause)
                    compared[cause] += 1
    assert all(compared[cause] > 100 for cause in FAULTS), compared


def test_a_healthy_chain_is_that_of_the_engine_at_every_scan() -> None:
    compared = {(cause, runs): 0 for cause in (Cause.RUNS, Cause.STOPS) for runs in (True, False)}
    for seed, scheme in enumerate(SCHEMES):
        engine = Engine(scheme)
        for world in random_worlds(random.Random(seed), scheme, (), 60):
            seen = engine.scan(world)
            for name, output in scheme.outputs.items():
                cause = Cause.RUNS if seen.on[name] else Cause.STOPS
                told = chain(output, cause)
                assert seen.closed[name] is told.closed
                path = alone(scheme, output)
                if path and output.stops_within.scans == output.starts_within.scans == 0:
                    assert seen.running(path) is told.runs
                    compared[cause, told.runs] += 1
    assert all(count > 100 for count in compared.values()), compared


def test_a_broken_wire_does_to_a_watching_rule_what_is_said() -> None:
    trips = {Say.LINE_TRIPS, Say.LINE_ONLY_TRIPS, Say.LINE_TRIPS_AFTER, Say.LINE_ONLY_TRIPS_AFTER}
    compared = {True: 0, False: 0}
    for seed, scheme in enumerate(SCHEMES):
        for item in lines(scheme):
            broken = [Fault("broken", Part.LINE, Mode.BROKEN, (item.name,))]
            told: dict[str, bool] = {}
            for phrase in phrases_in(item.sentences[1]):
                if phrase.key in trips or phrase.key is Say.LINE_NEVER_TRIPS:
                    told[str(dict(phrase.fields)["rule"])] = phrase.key in trips
            watching = [r.name for r in scheme.rules.values() if (r.watches, r.watched) == (Signal.LINE, item.name)]
            assert sorted(told) == sorted(watching)
            for name, tripped in told.items():
                rule = scheme.rules[name]
                longest = max(rule.trips.delay.scans, rule.clears.delay.scans)
                if longest > 300:
                    continue
                engine = Engine(scheme, broken)
                for world in islice(random_worlds(random.Random(seed), scheme, (), longest + 10), longest + 10):
                    engine.scan(world)
                state = engine.machines[name].state
                expected = state is State.TRIPPED if tripped else state in (State.CLEAR, State.AWAITING_RESET)
                assert expected, (scheme.title, item.name, name, state)
                compared[tripped] += 1
    assert all(count > 20 for count in compared.values()), compared


def test_a_claim_that_allows_no_time_is_broken_without_one() -> None:
    scheme = next(scheme for scheme in own() if "one_supply/generator_charger" in {c.name for c in scheme.claims})
    claims = {claim.name: claim for claim in scheme.claims}
    said = text(consequence(scheme, [scheme.faults["K6.welded"]], [claims["one_supply/generator_charger"]]))
    assert said == "if the contact of K6 welds, generator_charger may run while valley_charger is running"
    assert "for longer than 500 ms" in text(
        consequence(scheme, [scheme.faults["K1.wire_broken"]], [claims["turbine_loaded/dump_load"]])
    )
