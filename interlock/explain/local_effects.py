"""What a fault does at its own part, in words: a failure modes and effects table's local effect."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from interlock.explain.chains import chain
from interlock.explain.closed import Cause, complete
from interlock.explain.conditions import errors, time
from interlock.explain.phrases import Phrase, Value, listing, say
from interlock.explain.tables import CONTACTS, INPUTS
from interlock.explain.words import Say
from interlock.scheme.model import Fault, Output, Scheme, Sensor
from interlock.scheme.units import value_text
from interlock.scheme.words import Mode, Part, Signal

SWAPS: Final = {Part.SENSOR: Say.LOCAL_SWAPPED_SENSORS, Part.LINE: Say.LOCAL_SWAPPED_LINES}


def local_effect(scheme: Scheme, fault: Fault) -> Value:
    """The local effect of a fault; of a common cause, of each of its faults."""
    if not fault.together:
        return _LOCAL[fault.mode](scheme, fault)
    return listing(
        (say(Say.LOCAL_OF, part=listing(f.parts), effect=_LOCAL[f.mode](scheme, f)) for f in fault.together),
        Say.SEMICOLON,
        Say.SEMICOLON,
    )


# --- sensors and lines


def _used(effect: Value, users: list[str]) -> Phrase:
    if users:
        return say(Say.LOCAL_USED, effect=effect, users=listing(users))
    return say(Say.LOCAL_UNUSED, effect=effect)


def _of_sensor(scheme: Scheme, sensor: Sensor, effect: Value) -> Phrase:
    users = [r.name for r in scheme.readings.values() if sensor.name in r.sensors]
    users += [r.name for r in scheme.rules.values() if r.watches is Signal.SENSOR and r.watched == sensor.name]
    return _used(effect, users)


def _lead(scheme: Scheme, sensor: Sensor, reads: int | None) -> Phrase:
    if reads is None or reads not in sensor.valid:
        return _of_sensor(scheme, sensor, say(Say.LOCAL_LOST))
    return _of_sensor(scheme, sensor, say(Say.LOCAL_READS, value=value_text(reads, sensor.kind)))


def _open(scheme: Scheme, fault: Fault) -> Phrase:
    sensor = scheme.sensors[fault.parts[0]]
    return _lead(scheme, sensor, sensor.open_reads)


def _stuck(scheme: Scheme, fault: Fault) -> Phrase:
    sensor = scheme.sensors[fault.parts[0]]
    stale = sensor.stale_after
    said = say(Say.LOCAL_STALE, time=time(scheme, stale)) if stale else say(Say.LOCAL_STUCK)
    return _of_sensor(scheme, sensor, said)


def _wrong(scheme: Scheme, fault: Fault) -> Phrase:
    sensor = scheme.sensors[fault.parts[0]]
    return _of_sensor(scheme, sensor, say(Say.LOCAL_ERROR, errors=errors(sensor.kind, fault.error)))


def _readers(scheme: Scheme, line: str) -> list[str]:
    return [rule.name for rule in scheme.rules.values() if line in rule.lines_read()]


def _wire(scheme: Scheme, line: str, on: bool) -> Phrase:
    said = say(Say.LOCAL_LINE, value=say(Say.ON if on else Say.OFF))
    return _used(said, _readers(scheme, line))


def _broken(scheme: Scheme, fault: Fault) -> Phrase:
    return _wire(scheme, fault.parts[0], scheme.lines[fault.parts[0]].undriven_reads)


def _shorted(scheme: Scheme, fault: Fault) -> Phrase:
    if fault.part is Part.SENSOR:
        sensor = scheme.sensors[fault.parts[0]]
        return _lead(scheme, sensor, sensor.shorted_reads)
    return _wire(scheme, fault.parts[0], not scheme.lines[fault.parts[0]].undriven_reads)


def _inverted(scheme: Scheme, fault: Fault) -> Phrase:
    return _used(say(Say.LOCAL_INVERTED), _readers(scheme, fault.parts[0]))


# --- outputs and paths


def _chain(output: Output, cause: Cause) -> Phrase:
    found = chain(output, cause)
    links: list[Value] = []
    if found.closed is not None:
        links.append(say(CONTACTS[output.contact][0 if found.closed else 1]))
    links.append(say(INPUTS[output.runs_when][0 if found.made else 1]))
    stopped = Say.RESULT_STOPPED if len(output.drives) == 1 else Say.RESULT_STOPPED_MANY
    result = say(Say.RESULT_RUNS if found.runs else stopped, paths=listing(output.drives))
    return say(Say.LOCAL_CHAIN, links=listing(links, Say.COMMA), result=result)


def _welded(scheme: Scheme, fault: Fault) -> Phrase:
    return _chain(scheme.outputs[fault.parts[0]], Cause.CONTACT_WELDED)


def _wire_broken(scheme: Scheme, fault: Fault) -> Phrase:
    return _chain(scheme.outputs[fault.parts[0]], Cause.WIRE_BROKEN)


def _wrong_contact(scheme: Scheme, fault: Fault) -> Phrase:
    output = scheme.outputs[fault.parts[0]]
    return say(Say.LOCAL_WRONG_CONTACT, unit=output.unit, paths=listing(output.drives))


def _ignored(scheme: Scheme, fault: Fault) -> Phrase:
    output = scheme.outputs[fault.parts[0]]
    return say(Say.LOCAL_IGNORED, paths=listing(output.drives), output=output.name)


def _bypassed(scheme: Scheme, fault: Fault) -> Phrase:
    path = scheme.paths[fault.parts[0]]
    if path.outputs:
        return say(Say.LOCAL_BYPASSED, path=path.name, outputs=listing(path.outputs, Say.OR))
    return say(Say.LOCAL_BYPASSED_FREE, path=path.name)


def _swapped(scheme: Scheme, fault: Fault) -> Phrase:
    if fault.part in SWAPS:
        return say(SWAPS[fault.part])
    one, other = (scheme.outputs[name] for name in fault.parts)
    return say(
        Say.LOCAL_SWAPPED_OUTPUTS,
        one=one.name,
        others=listing(other.drives),
        other=other.name,
        ones=listing(one.drives),
    )


# --- units and rules


def _always(key: Say) -> Callable[[Scheme, Fault], Phrase]:
    return lambda _scheme, _fault: say(key)


def _omitted(scheme: Scheme, fault: Fault) -> Phrase:
    stops = list(dict.fromkeys(target.path for target in scheme.rules[fault.parts[0]].blocks))
    return say(Say.LOCAL_OMITTED_STOPS, paths=listing(stops, Say.OR)) if stops else say(Say.LOCAL_OMITTED)


_LOCAL: Final = complete(
    {
        Mode.OPEN: _open,
        Mode.SHORTED: _shorted,
        Mode.STUCK: _stuck,
        Mode.DRIFTED: _wrong,
        Mode.MISPLACED: _wrong,
        Mode.BROKEN: _broken,
        Mode.INVERTED: _inverted,
        Mode.WELDED: _welded,
        Mode.WIRE_BROKEN: _wire_broken,
        Mode.WRONG_CONTACT: _wrong_contact,
        Mode.IGNORED: _ignored,
        Mode.BYPASSED: _bypassed,
        Mode.SWAPPED: _swapped,
        Mode.DEAD: _always(Say.LOCAL_DEAD),
        Mode.FROZEN: _always(Say.LOCAL_FROZEN),
        Mode.POWER_CYCLED: _always(Say.LOCAL_POWER_CYCLED),
        Mode.OMITTED: _omitted,
    },
    Mode,
    "local effects in words",
)
