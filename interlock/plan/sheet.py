"""A test sheet: what to do step by step at the installation and what must then be seen; and its canonical JSON.

`interlock.plan.predict` says what would be seen at each step under other faults, `interlock.plan.results` what was.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from interlock.plan.sights import Sight, SightKind
from interlock.scheme.model import Scheme
from interlock.scheme.words import Contact

FORMAT = "interlock sheet 1"

# The rule under which every sheet is safe: no step depends on what the pack or anything that carries current does.
BEFORE = (
    "every source and every load is isolated on its side of the pack and secured, and the pack's own disconnect is"
    " open: no step asks anyone to charge or to drain a pack, whatever is given instead of its sensors",
    "a decade box or a voltage source of limited current stands in the place of each sensing element, at the far end of"
    " its lead; nothing warms, chills, fills or empties a cell",
    "each device is observed at its own input; a device that itself tells that it is let run may be looked at",
)
PRESSED = "pressed"  # a button that is pressed for a second and let go
EITHER = "either"  # what is seen is not certain

# What a person writes down of each kind of sight, true first. A driven output's device sees high or low.
SIDES: Mapping[SightKind, tuple[str, str]] = {
    SightKind.PATH: ("running", "stopped"),
    SightKind.LINE: ("on", "off"),
    SightKind.ALARM: ("sounding", "silent"),
    SightKind.SENSOR: ("valid", "invalid"),
    SightKind.DEVICE: ("closed", "open"),
}
assert set(SIDES) == set(SightKind), set(SightKind) - set(SIDES)


def sides(scheme: Scheme, sight: Sight) -> tuple[str, str]:
    """The two words for what is seen of a sight, true first."""
    if sight.kind is SightKind.DEVICE and scheme.outputs[sight.name].contact is Contact.DRIVEN:
        return "high", "low"
    return SIDES[sight.kind]


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a sheet. Step 1 also powers the installation up, with all that it sets set before.

    `set`: sensor, line or button → value as a case would say it (`20 degC`, `on`); also `open` or `shorted` for a
    sensor's lead, `pressed` for a button. `wait_s`: seconds from then until the look; where nothing is set, from the
    look before by the stopwatch. `expect`: path → running or stopped, line → on or off, rule with an alarm → sounding
    or silent, sensor → valid or invalid, output → closed or open (high or low) at its device's own input. `at_rest`:
    what is expected stays for ever, so there is no hurry; else it stays for three seconds at least.
    """

    set: Mapping[str, str]
    wait_s: int
    expect: Mapping[str, str]
    at_rest: bool = True

    def as_json(self, number: int) -> dict[str, Any]:
        """The step as plain data; `number` counts from 1."""
        return {
            "step": number,
            "set": dict(self.set),
            "wait_s": self.wait_s,
            "expect": dict(self.expect),
            "at_rest": self.at_rest,
        }


@dataclass(frozen=True, slots=True)
class CannotFind:
    """A fault that no step of the sheet shows, with the reason in words.

    `proved`: no test of the kind the planner makes can show it; else none was found.
    """

    fault: str
    because: str
    proved: bool = True


@dataclass(frozen=True)
class Sheet:
    """A test sheet. `scheme`: the scheme's title; `scheme_digest`: SHA-256 of its file, in hexadecimal digits;
    `finds`: the faults of which each changes at least one expected value for certain. `off_by`: by how much a setting
    must be mistyped to be found, rule and setting → text."""

    scheme: str
    scheme_digest: str
    steps: tuple[Step, ...]
    finds: tuple[str, ...]
    cannot_find: tuple[CannotFind, ...] = ()
    off_by: Mapping[str, str] = field(default_factory=dict)
    before: tuple[str, ...] = BEFORE

    @property
    def seconds(self) -> int:
        """All waiting together."""
        return sum(step.wait_s for step in self.steps)

    @property
    def minutes(self) -> float:
        """All waiting together, to a tenth of a minute."""
        return round(self.seconds / 60, 1)

    def as_json(self) -> dict[str, Any]:
        """The sheet as plain data."""
        return {
            "format": FORMAT,
            "scheme": self.scheme,
            "scheme_digest": self.scheme_digest,
            "minutes": self.minutes,
            "before": list(self.before),
            "steps": [step.as_json(i) for i, step in enumerate(self.steps, 1)],
            "finds": list(self.finds),
            "cannot_find": [{"fault": c.fault, "because": c.because, "proved": c.proved} for c in self.cannot_find],
            "off_by": dict(self.off_by),
        }

    @property
    def digest(self) -> str:
        """SHA-256 of the canonical JSON, in hexadecimal digits."""
        return hashlib.sha256(canonical(self.as_json())).hexdigest()

    def stopwatch(self) -> Iterator[int]:
        """For each step the seconds since something was last set or pressed, when its look is due."""
        shown = 0
        for step in self.steps:
            shown = step.wait_s if step.set else shown + step.wait_s
            yield shown


def canonical(data: object) -> bytes:
    """JSON in one spelling only: keys sorted, no spaces, UTF-8."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()


def digest_of(data: bytes) -> str:
    """SHA-256 of a file's bytes, in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def from_json(data: Mapping[str, Any]) -> Sheet:
    """A sheet from the plain data of `Sheet.as_json`. Raises ValueError where it is of another shape."""
    if data.get("format") != FORMAT:
        raise ValueError(f"the format is {data.get('format')!r}, expected {FORMAT!r}")
    try:
        steps = tuple(
            Step(_texts(s["set"]), int(s["wait_s"]), _texts(s["expect"]), bool(s.get("at_rest", True)))
            for s in data["steps"]
        )
        cannot = tuple(
            CannotFind(str(c["fault"]), str(c["because"]), bool(c.get("proved", True))) for c in data["cannot_find"]
        )
        finds = tuple(map(str, data["finds"]))
        off_by, before = _texts(data.get("off_by", {})), tuple(map(str, data.get("before", BEFORE)))
        return Sheet(str(data["scheme"]), str(data["scheme_digest"]), steps, finds, cannot, off_by, before)
    except (KeyError, TypeError, AttributeError) as error:
        raise ValueError(f"no test sheet: {error} is missing or of the wrong shape") from error


def _texts(data: Mapping[str, Any]) -> dict[str, str]:
    return {str(name): str(value) for name, value in data.items()}


def names_set(steps: Sequence[Step]) -> tuple[str, ...]:
    """All that the steps set, each once, in their order."""
    return tuple(dict.fromkeys(name for step in steps for name in step.set))
