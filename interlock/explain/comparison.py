"""What a change means, in sentences: for each path whether it may now run where it was stopped, and a history that
shows it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction

from interlock.compare.verdict import Difference, Meaning, Moment, PathVerdict
from interlock.scheme.model import Scheme
from interlock.scheme.units import time_text, value_text
from interlock.scheme.words import Signal

SHOWN: Mapping[Meaning, str] = {
    Meaning.SAME: "same",
    Meaning.STRICTER: "stricter",
    Meaning.LOOSER: "LOOSER",
    Meaning.DIFFERENT: "DIFFERENT",
    Meaning.UNDECIDED: "UNDECIDED",
}
assert set(SHOWN) == set(Meaning), set(Meaning) - set(SHOWN)


def sentence(merged: Scheme, path: str, difference: Difference) -> str:
    """One way in which a path differs, as a person would say it."""
    said = "may now run where it was stopped" if difference.looser else "is now stopped where it might run"
    when = _seen(merged, difference)
    return f"{path} {said}{f', with {when}' if when else ''}, {lasting(merged, difference)}"


def lasting(merged: Scheme, difference: Difference) -> str:
    """How long it lasts."""
    if not difference.known:
        return "for how long is not known"
    if difference.scans is None:
        return "for as long as that lasts"
    return f"for {time_text(difference.scans * merged.scan_us)} at most"


def _seen(merged: Scheme, difference: Difference) -> str:
    """What is read at the first scan that differs, of what rules look at that only one scheme has (else of all that
    matters and is not the same all along)."""
    names = difference.looks or tuple(n for n in difference.matters if _moves(difference.trace, n))
    world = difference.trace[-1].world
    said = []
    for signal, name in names:
        if signal is Signal.LINE:
            said.append(f"{name} {'on' if world.lines.get(name) else 'off'}")
        elif name in world.readings:
            said.append(f"{name} at {_value(merged, name, world.readings[name])}")
    return " and ".join([", ".join(said[:-1]), said[-1]] if len(said) > 1 else said)


def _moves(trace: tuple[Moment, ...], what: tuple[Signal, str]) -> bool:
    signal, name = what
    if signal is Signal.LINE:
        return len({m.world.lines.get(name) for m in trace}) > 1
    return len({m.world.readings.get(name) for m in trace}) > 1


def _value(merged: Scheme, name: str, micro: int | Fraction) -> str:
    sensor = merged.sensors[name]
    if not sensor.valid.low <= micro <= sensor.valid.high:
        return "a reading out of its range"
    return value_text(micro, sensor.kind)


def history(merged: Scheme, verdict: PathVerdict, difference: Difference) -> Iterator[str]:
    """The history that shows it, a sentence for each moment at which something changes."""
    at, path = 0, verdict.path
    before: Moment | None = None
    for moment in difference.trace:
        said = []
        for signal, name in difference.matters:
            if signal is Signal.LINE:
                on = bool(moment.world.lines.get(name))
                if before is None or bool(before.world.lines.get(name)) is not on:
                    said.append(f"{name} is {'on' if on else 'off'}")
            elif name in moment.world.readings:
                value = moment.world.readings[name]
                if before is None or before.world.readings.get(name) != value:
                    said.append(f"{name} reads {_value(merged, name, value)}")
        if said:
            when = time_text(at * merged.scan_us) if at else "power-up"
            yield f"At {when}: {'; '.join(said)}."
        at += moment.scans
        before = moment
    assert before is not None
    one, other = ("new", "old") if difference.looser else ("old", "new")
    yield f"By {time_text(at * merged.scan_us)} the {one} scheme lets {path} run and the {other} one does not."
