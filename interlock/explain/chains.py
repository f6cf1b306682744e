"""An output's chain from permit to device, link by link: what each cause does to the path at its end."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.explain.closed import Cause
from interlock.scheme.model import Output
from interlock.scheme.words import Contact, EnergisedWhen


@dataclass(frozen=True, slots=True)
class Chain:
    """One cause and what it does to each link. `energised` is None where the cause cuts in behind it."""

    cause: Cause
    energised: bool | None
    closed: bool | None  # the contact closed, the level high; None where the cause cuts in behind it
    made: bool  # the device sees a closed or high input
    runs: bool


def chain(output: Output, cause: Cause) -> Chain:
    """What that cause comes to for the output's device."""
    match cause:
        case Cause.RUNS | Cause.STOPS:
            return _from_coil(output, cause, (cause is Cause.RUNS) is (output.energised_when is EnergisedWhen.RUNS))
        case Cause.UNIT_DEAD:
            return _from_coil(output, cause, False)
        case Cause.CONTACT_WELDED:
            return Chain(cause, None, True, True, output.runs_when.when_made)
        case Cause.WIRE_BROKEN:
            return Chain(cause, None, None, False, not output.runs_when.when_made)


def _from_coil(output: Output, cause: Cause, energised: bool) -> Chain:
    closed = energised is not (output.contact is Contact.NORMALLY_CLOSED)
    return Chain(cause, energised, closed, closed, closed is output.runs_when.when_made)
