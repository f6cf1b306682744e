"""Studies made up for a scheme, so that every effect a fault can have stands in a table."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.faults.cutsets_search import CutSets
from interlock.faults.effects import Effect, FaultEffect, Partner, Reveal, Sign
from interlock.faults.inject import Study
from interlock.plan.beginnings import Start
from interlock.plan.proof_test import ProofTest, ProofTests
from interlock.plan.search import Move
from interlock.plan.sights import sights
from interlock.plan.stimuli import Change, Stimuli
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.words import Must

NOTHING = CutSets((), (), 0, (), 2)


def made_up(scheme: Scheme) -> Iterator[Study]:
    """One study for each effect: all faults have it, by any claim, with any sign, beside few or many second faults."""
    for effect in Effect:
        for size, anyway in ((1, False), (2, True)):
            cut_sets = [NOTHING for _ in scheme.claims]
            if anyway and cut_sets:
                cut_sets[0] = CutSets(((),), (), 0, (), 0)
            effects = tuple(_effect(scheme, effect, number, size) for number in range(len(scheme.faults)))
            yield Study(size, effects, tuple(cut_sets), 0, 0, False)


def _effect(scheme: Scheme, effect: Effect, number: int, size: int) -> FaultEffect:
    names = list(scheme.faults)
    running = tuple(c.name for c in scheme.claims if c.must is Must.NEVER_RUNNING)
    stopped = tuple(c.name for c in scheme.claims if c.must is Must.NEVER_STOPPED)
    violates: tuple[str, ...] = ()
    signs: tuple[Reveal, ...] = ()
    if effect is Effect.VIOLATES:
        violates = running
    elif effect is Effect.REVEALED:
        signs = (Reveal(Sign.SENSOR, "probe"), Reveal(Sign.ALARM, "hot_stop"))[: number % 3]
        violates = stopped if number % 2 or not signs else ()
        signs += tuple(Reveal(Sign.CLAIM, name) for name in violates)
    undecided = running if effect is Effect.UNDECIDED else ()
    partners: tuple[Partner, ...] = ()
    if effect is Effect.DORMANT and size > 1:
        partners = tuple(Partner(name, running) for name in names[: (number % 3) * 6])
    return FaultEffect(names[number], effect, violates, signs, undecided, partners)


def made_up_tests(scheme: Scheme) -> Iterator[tuple[ProofTests, Fault]]:
    """Proof tests that nobody looked for: each change and each sight of a scheme once, and each reason for none."""
    stimuli = Stimuli(scheme)
    fault, *others = scheme.faults.values()
    presses = [c for c in stimuli.changes if c.press is not None][:1]
    rest = (Move(Change(), 3), *[Move(c, 1) for c in presses * 2])
    nothing = ProofTests(stimuli, rest, {}, {fault.name: 0}, tuple(f.name for f in others[:1]), {})
    yield nothing, fault
    yield from ((nothing, other) for other in others)
    yield ProofTests(stimuli, rest, {}, {fault.name: 2}, (), {}), fault
    yield ProofTests(stimuli, rest, {}, {}, (), {fault.name: 7}), fault
    every = sights(scheme)
    for start in Start:
        ways: list[tuple[Move, ...]] = [(Move(c, 2),) for c in stimuli.changes]
        ways += [(Move(Change(), 1), Move(c, 2)) for c in stimuli.changes]
        ways += [()] if start is Start.REST else []
        for i in range(max(len(ways), len(every))):
            for healthy in (False, True):
                sight = every[i % len(every)]
                test = ProofTest(fault.name, start, ways[i % len(ways)], sight, healthy, (), i % 2 == 0)
                yield ProofTests(stimuli, rest, {fault.name: test}, {}, (), {}), fault
