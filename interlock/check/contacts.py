"""Outputs whose contact and device input don't fit each other, or let a device run when they should not."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.losses import output_text
from interlock.check.make import finding, listed
from interlock.check.wiring import ahead, limits_a_quantity, runs_as_told, runs_cut, runs_released
from interlock.records import replace
from interlock.scheme.findings import Finding
from interlock.scheme.model import Claim, Output
from interlock.scheme.words import DeviceInput, Mode, Must


def check(facts: Facts) -> Iterator[Finding]:
    """All findings of this family."""
    claims: dict[str, list[Claim]] = {}
    for claim in facts.scheme.claims:
        claims.setdefault(claim.path, []).append(claim)
    for output in facts.scheme.outputs.values():
        if not runs_as_told(output, on=True):
            yield _inverted(output)
            continue
        if runs_released(output):
            yield from _released(facts, output, claims)
        if runs_cut(output) and f"{output.name}.{Mode.WIRE_BROKEN}" in facts.scheme.faults:
            yield from _cut(facts, output, claims)


def _inverted(output: Output) -> Finding:
    return finding(
        Ident.CONTACT_INVERTED,
        output.name,
        output.place,
        f"`{output.name}` stops {listed(output.drives)} when it should run and lets it run when not: while on "
        + output_text(output)
        + ", while not on "
        + output_text(output, on=False),
        "turn round one of `contact`, `runs_when` and `energised_when`, whichever is not as it is wired",
    )


def _against(claims: list[Claim]) -> tuple[list[Claim], bool]:
    """The requirements that a path must not run in some state of the pack, and whether it is ever required to run."""
    stops = [c for c in claims if c.must is Must.NEVER_RUNNING and limits_a_quantity(c)]
    return stops, any(c.must is Must.NEVER_STOPPED for c in claims)


def _released(facts: Facts, output: Output, claims: dict[str, list[Claim]]) -> Iterator[Finding]:
    scheme = facts.scheme
    for path in output.drives:
        stops, runs = _against(claims.get(path, []))
        in_series = [o for p in ahead(scheme, path) for o in scheme.drives(output.unit, p)]
        if (runs and not stops) or not all(runs_released(scheme.outputs[o]) for o in in_series):
            continue
        why = f", against {listed(c.requirement for c in stops)}" if stops else ", and no requirement says that it must"
        yield finding(
            Ident.RUNS_WHEN_RELEASED,
            output.name,
            output.place,
            f"`{path}` runs when `{output.name}` is released, as it is when `{output.unit}` is dead{why}",
            f"{output_text(output)} → {path} runs. Let the output stop it when released: `energised_when: runs` and "
            "the contact that fits; or say in a requirement (never_stopped) that it must run",
            tuple((c.place, f"`{c.requirement}`") for c in stops[:1]),
        )
        return


def _cut(facts: Facts, output: Output, claims: dict[str, list[Claim]]) -> Iterator[Finding]:
    scheme = facts.scheme
    for path in output.drives:
        stops, runs = _against(claims.get(path, []))
        meant = runs and not stops and runs_released(output)
        forbids = [c for c in claims.get(path, []) if c.must is Must.NEVER_RUNNING]
        in_series = len(scheme.drives(output.unit, path)) > 1
        open_to = [] if meant or in_series else [c for c in forbids if not _stopped_ahead(facts, c)]
        if not open_to:
            continue
        sees = "open" if output.runs_when is DeviceInput.OPEN else "low"
        yield finding(
            Ident.CUT_OUTPUT_WIRE_RUNS,
            output.name,
            output.place,
            f"`{path}` runs when the wire from `{output.name}` is cut, against "
            f"{listed(c.requirement for c in open_to)}: its input runs when {output.runs_when}",
            f"{output_text(output, on=False)} → wire cut: input sees {sees} → {path} runs. Use a device input that "
            "runs when closed (high), or a second output in series",
            tuple((c.place, f"`{c.requirement}` is broken then") for c in open_to[:1]),
        )
        return


def _stopped_ahead(facts: Facts, claim: Claim) -> bool:
    """Whether what the path is behind is stopped for the same reason."""
    behind = ahead(facts.scheme, claim.path)[1:]
    return bool(behind) and bool(facts.protections.of(replace(claim, path=behind[0])).enough)
