"""Proof tests in sentences and as plain data: what to do, how long to wait, what must then be seen."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.explain.closed import complete
from interlock.explain.document import Plain
from interlock.explain.phrases import Value, listing, say
from interlock.explain.words import Say
from interlock.plan.beginnings import Start
from interlock.plan.proof_test import ProofTest, ProofTests
from interlock.plan.search import Move
from interlock.plan.sights import Sight, SightKind
from interlock.plan.stimuli import Applied, Change, Stimuli
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.units import MICRO, lasted_text, value_text
from interlock.scheme.words import TWO_WORDS, Contact, Mode, Signal

_LEAD = {Mode.OPEN: Say.TEST_LEAD_OPEN, Mode.SHORTED: Say.TEST_LEAD_SHORTED}
_SEEN = complete(
    {
        SightKind.PATH: Say.TEST_SEEN_PATH,
        SightKind.LINE: Say.TEST_SEEN_LINE,
        SightKind.ALARM: Say.TEST_SEEN_ALARM,
        SightKind.SENSOR: Say.TEST_SEEN_SENSOR,
        SightKind.DEVICE: Say.TEST_SEEN_DEVICE,
    },
    SightKind,
    "what is looked at",
)
_SIDES = complete(
    {
        SightKind.PATH: (Say.RUNNING, Say.STOPPED),
        SightKind.LINE: (Say.ON, Say.OFF),
        SightKind.ALARM: (Say.TEST_SOUNDING, Say.TEST_SILENT),
        SightKind.SENSOR: (Say.TEST_VALID, Say.TEST_INVALID),
        SightKind.DEVICE: (Say.TEST_CLOSED, Say.TEST_OPEN),
    },
    SightKind,
    "what is seen",
)


def seconds(scheme: Scheme, scans: int) -> int:
    """A wait in whole seconds, never shorter than it must be: waiting longer does no harm."""
    return -(-scans * scheme.scan_us // MICRO)


def _time(scheme: Scheme, scans: int) -> str:
    return lasted_text(seconds(scheme, scans) * MICRO)


def value_given(scheme: Scheme, sensor: str, applied: Applied) -> str:
    """What a sensor is given: a value with its unit, `open` or `shorted`."""
    return str(applied.how) if applied.how else value_text(applied.value, scheme.sensors[sensor].kind)


def _given(scheme: Scheme, sensor: str, applied: Applied) -> Value:
    if applied.how is not None:
        return say(_LEAD[applied.how], name=sensor)
    return say(Say.TEST_GIVEN, name=sensor, value=value_given(scheme, sensor, applied))


def _done(stimuli: Stimuli, change: Change) -> list[Value]:
    names = list(stimuli.scheme.sensors)
    done = [_given(stimuli.scheme, names[i], stimuli.values[i][at]) for i, at in change.sensors]
    done += [say(Say.TEST_LINE, name=stimuli.external[i], value=_line(on)) for i, on in change.lines]
    return done


def _line(on: bool) -> str:
    return TWO_WORDS[Signal.LINE][not on]


def _step(stimuli: Stimuli, move: Move, *, powers_up: bool) -> Value:
    done = _done(stimuli, move.change)
    if move.change.press is not None:
        what: Value = say(Say.TEST_PRESSED, button=stimuli.external[move.change.press])
    elif powers_up:
        what = say(Say.TEST_POWERED_WITH, done=listing(done)) if done else say(Say.TEST_POWERED)
    else:
        what = listing(done)
    return say(Say.TEST_STEP, done=what, time=_time(stimuli.scheme, move.scans))


def begins(found: ProofTests) -> Value:
    """What stands before all tests: where they begin, and that nobody harms a pack for them."""
    stimuli, scheme = found.stimuli, found.stimuli.scheme
    given = [_given(scheme, s, a) for s, a in zip(scheme.sensors, stimuli.applied(stimuli.rest), strict=True)]
    lines = zip(stimuli.external, stimuli.rest.lines, strict=True)
    given += [say(Say.TEST_LINE, name=name, value=_line(on)) for name, on in lines]
    first, *resets = found.rest
    pressed = [
        say(Say.TEST_THEN_RESET, button=stimuli.external[m.change.press], time=_time(scheme, m.scans))
        for m in resets
        if m.change.press is not None
    ]
    return say(
        Say.TEST_BEGINS,
        given=listing(given),
        time=_time(scheme, first.scans),
        resets=listing(pressed, Say.NOTHING_BETWEEN, Say.NOTHING_BETWEEN) if pressed else "",
    )


def _what(scheme: Scheme, sight: Sight) -> Value:
    if sight.kind is SightKind.LINE:
        return say(_SEEN[sight.kind], name=sight.name, unit=scheme.lines[sight.name].unit)
    return say(_SEEN[sight.kind], name=sight.name)


def _side(scheme: Scheme, sight: Sight, value: bool) -> Say:
    sides = _SIDES[sight.kind]
    if sight.kind is SightKind.DEVICE and scheme.outputs[sight.name].contact is Contact.DRIVEN:
        sides = (Say.TEST_HIGH, Say.TEST_LOW)
    return sides[not value]


def told(found: ProofTests, fault: Fault) -> Sequence[Value]:
    """The test of a fault in sentences, or why there is none."""
    test = found.tests.get(fault.name)
    if test is not None:
        return _told(found.stimuli, test)
    if fault.name in found.alike:
        return [say(Say.TEST_ALIKE)]
    if fault.name in found.briefly:
        return [say(Say.TEST_BRIEF, time=lasted_text(found.briefly[fault.name] * found.stimuli.scheme.scan_us))]
    if fault.name in found.searched:
        steps = found.searched[fault.name]
        if not steps:
            return [say(Say.TEST_NONE_AT_REST)]
        return [say(Say.TEST_NONE, steps=f"{steps} step{'' if steps == 1 else 's'}")]
    passes = all(single.mode is Mode.POWER_CYCLED for single in fault.single())
    return [say(Say.TEST_PASSES if passes else Say.TEST_ERROR)]


def _told(stimuli: Stimuli, test: ProofTest) -> Sequence[Value]:
    scheme = stimuli.scheme
    sees = say(
        Say.TEST_SEES,
        what=_what(scheme, test.sight),
        healthy=say(_side(scheme, test.sight, test.healthy)),
        fault=test.fault,
        faulty=say(_side(scheme, test.sight, not test.healthy)),
    )
    steps = [
        _step(stimuli, move, powers_up=i == 0 and test.start is Start.POWER_UP) for i, move in enumerate(test.moves)
    ]
    shown = say(Say.TEST_SHOWN_BY, steps=listing(steps, Say.THEN, Say.THEN), sees=sees) if steps else None
    sentences: list[Value] = [shown or say(Say.TEST_SHOWN_AT_REST, sees=sees)]
    if test.others:
        sentences.append(say(Say.TEST_ELSE))
    return sentences


# --- plain facts


def _plain_move(stimuli: Stimuli, move: Move) -> dict[str, Plain]:
    names, change = list(stimuli.scheme.sensors), move.change
    set_: dict[str, Plain] = {
        names[i]: value_given(stimuli.scheme, names[i], stimuli.values[i][at]) for i, at in change.sensors
    }
    set_ |= {stimuli.external[i]: _line(on) for i, on in change.lines}
    plain: dict[str, Plain] = {"set": set_} if set_ else {}
    if change.press is not None:
        plain["press"] = stimuli.external[change.press]
    return plain | {"wait_s": seconds(stimuli.scheme, move.scans)}


def plain_test(found: ProofTests, name: str) -> dict[str, Plain] | None:
    """{from, steps, look_at, expect, with_fault} of a fault's test, or None."""
    test = found.tests.get(name)
    if test is None:
        return None
    scheme = found.stimuli.scheme
    return {
        "from": str(test.start),
        "steps": [_plain_move(found.stimuli, move) for move in test.moves],
        "look_at": str(test.sight.kind),
        "expect": {test.sight.name: str(_side(scheme, test.sight, test.healthy).value)},
        "with_fault": {test.sight.name: str(_side(scheme, test.sight, not test.healthy).value)},
    }


def plain_rest(found: ProofTests) -> dict[str, Plain]:
    """{rest: {set, steps}, no_test_up_to_steps, alike, differs_at_most_s}: what is common to all tests, and what has
    none."""
    stimuli, scheme = found.stimuli, found.stimuli.scheme
    given = zip(scheme.sensors, stimuli.applied(stimuli.rest), strict=True)
    set_: dict[str, Plain] = {name: value_given(scheme, name, applied) for name, applied in given}
    set_ |= {name: _line(on) for name, on in zip(stimuli.external, stimuli.rest.lines, strict=True)}
    return {
        "rest": {"set": set_, "steps": [_plain_move(stimuli, move) for move in found.rest]},
        "no_test_up_to_steps": dict(found.searched),
        "alike": list(found.alike),
        "differs_at_most_s": {n: scans * scheme.scan_us / MICRO for n, scans in found.briefly.items()},
    }
