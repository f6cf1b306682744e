"""Requirements, expanded to one claim per path."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.scheme.build_logic import expand, merge_targets
from interlock.scheme.draft import Draft
from interlock.scheme.fields import Fields
from interlock.scheme.judge import range_text
from interlock.scheme.keys import Section
from interlock.scheme.model import Claim, Condition, Limit, Line, Path, Quantity, Target
from interlock.scheme.units import value_text
from interlock.scheme.words import LineForm, Must, Signal


def build_claims(
    draft: Draft,
    paths: Mapping[str, Path],
    groups: Mapping[str, tuple[Target, ...]],
    lines: Mapping[str, Line],
    quantities: Mapping[str, Quantity],
) -> tuple[tuple[Claim, ...], tuple[Claim, ...]]:
    """(claims to judge, claims on unswitched paths that nothing can protect)."""
    judged: list[Claim] = []
    unprotected: list[Claim] = []
    for entry, _ in draft.entries(Section.REQUIREMENTS):
        name = entry.key.text
        if not name.strip() or "/" in name:
            draft.log.report(
                "bad-name", f"`{name}` can't name a requirement", entry.key.place, "any text without `/` will do"
            )
        found = draft.fields(Section.REQUIREMENTS, entry)
        if found:
            for claim in _claims(draft, found, groups, lines, quantities):
                unswitched = claim.path in paths and paths[claim.path].unswitched
                (unprotected if unswitched else judged).append(claim)
    return tuple(judged), tuple(unprotected)


def _claims(
    draft: Draft,
    found: Fields,
    groups: Mapping[str, tuple[Target, ...]],
    lines: Mapping[str, Line],
    quantities: Mapping[str, Quantity],
) -> list[Claim]:
    given = [must for must in Must if found.has(str(must))]
    targets = merge_targets(
        tuple(t for must in given for named in found.names(str(must)) for t in expand(draft, named, groups))
    )
    written = found.conditions_or_list("while")
    conditions = draft.conditions(written, Section.QUANTITIES, Section.LINES, Section.PATHS)
    longer_than = found.time("longer_than")
    attended = found.yes_no("attended")
    protects = found.yes_no("protects")
    why = found.text("why")
    if len(given) != 1:
        said = "demands nothing" if not given else "demands two things"
        draft.log.report(
            "missing-key" if not given else "keys-exclude",
            f"`{found.name}` {said}",
            found.place,
            "expected never_running or never_stopped, one of them",
        )
        return []
    if protects is not None and given[0] is Must.NEVER_RUNNING:
        draft.log.report(
            "keys-exclude",
            f"`{found.name}` says `protects` beside never_running",
            found.value_place("protects"),
            "protects goes with never_stopped, where the path protects by running; that a path runs which must not "
            "counts as harm anyway",
        )
    _judge_conditions(draft, found, conditions, lines, quantities)
    if longer_than is None or len(conditions) != len(written):
        return []
    claims = []
    for target in targets:
        every = (*conditions, *(c for alternative in target.when for c in alternative))
        external = frozenset(
            c.name for c in every if c.signal is Signal.LINE and c.name in lines and _outside(lines[c.name])
        )
        claims.append(
            Claim(
                found.name,
                target.path,
                given[0],
                conditions,
                target.when,
                draft.delay(longer_than),
                attended is not False,
                protects is True,
                external,
                why,
                found.place,
            )
        )
    return claims


def _outside(line: Line) -> bool:
    return line.form is LineForm.EXTERNAL


def _judge_conditions(
    draft: Draft,
    found: Fields,
    conditions: tuple[Condition, ...],
    lines: Mapping[str, Line],
    quantities: Mapping[str, Quantity],
) -> None:
    for condition in conditions:
        if condition.signal is Signal.LINE and condition.name in lines:
            if lines[condition.name].form is LineForm.CONFIRMS:
                draft.log.report(
                    "condition-on-contact",
                    f"`{found.name}` looks at `{condition.name}`, a confirming line",
                    condition.place,
                    "name the path it confirms: running or stopped",
                )
        elif condition.signal is Signal.QUANTITY and condition.name in quantities:
            quantity = quantities[condition.name]
            if isinstance(condition.test, Limit) and condition.test.value not in quantity.span:
                draft.log.report(
                    "limit-outside-span",
                    f"{value_text(condition.test.value, quantity.kind)} in `{found.name}` is out of range: "
                    f"`{quantity.name}` spans {range_text(quantity.span, quantity.kind)}",
                    condition.place,
                    "move the limit, or correct the span",
                    ((quantity.place, "the span belongs to this"),),
                )
