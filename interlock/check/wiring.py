"""From permit to the device's own input: what an output's contact and the device make of it."""

from __future__ import annotations

from interlock.scheme.model import Claim, Output, Path, Scheme
from interlock.scheme.words import Contact, EnergisedWhen, Must, Signal


def energised(output: Output, *, on: bool) -> bool:
    """Whether the output is energised while on (or not on)."""
    return on is (output.energised_when is EnergisedWhen.RUNS)


def closed(output: Output, *, energised: bool) -> bool:
    """Whether its contact is closed (driven: high)."""
    return energised is not (output.contact is Contact.NORMALLY_CLOSED)


def device_runs(output: Output, *, made: bool) -> bool:
    """Whether the device runs when its input sees closed (high) or open (low)."""
    return made is output.runs_when.when_made


def runs_as_told(output: Output, *, on: bool) -> bool:
    """Whether the device runs when the output is on, or when it is not."""
    return device_runs(output, made=closed(output, energised=energised(output, on=on)))


def runs_released(output: Output) -> bool:
    """Whether the device runs while its output is released: its unit dead, its coil or supply gone."""
    return device_runs(output, made=closed(output, energised=False))


def runs_cut(output: Output) -> bool:
    """Whether the device runs when the wire to it is cut: it sees open, or low."""
    return device_runs(output, made=False)


def stoppable(scheme: Scheme, unit: str, path: str) -> bool:
    """Whether that unit has an output that drives the path."""
    return bool(scheme.drives(unit, path))


def ahead(scheme: Scheme, path: str) -> tuple[str, ...]:
    """The path and all it is behind: it runs only while they all do."""
    found = [path]
    while behind := scheme.paths[found[-1]].behind:
        found.append(behind)
    return tuple(found)


def limits_a_quantity(claim: Claim) -> bool:
    """Whether a claim's conditions limit a quantity."""
    return any(c.signal is Signal.QUANTITY for c in claim.conditions)


def fails_running(scheme: Scheme, path: Path) -> bool:
    """Whether the path runs with all its outputs released and is meant to: each of them is energised to stop it."""
    outputs = [scheme.outputs[o] for o in path.outputs]
    return bool(outputs) and all(runs_released(o) and runs_as_told(o, on=True) for o in outputs)


def must_run(scheme: Scheme) -> frozenset[str]:
    """Paths that must run in whatever state the pack is: a requirement says so without a limit on any quantity, their
    outputs let them run when released, and no requirement on the pack's state stops them. A dump load."""
    demanded = {c.path for c in scheme.claims if c.must is Must.NEVER_STOPPED and not limits_a_quantity(c)}
    stopped = {c.path for c in scheme.claims if c.must is Must.NEVER_RUNNING and limits_a_quantity(c)}
    return frozenset(
        name for name, path in scheme.paths.items() if name in demanded - stopped and fails_running(scheme, path)
    )
