"""A failure modes and effects table of a study: IEC 60812's columns, one row for each fault."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from interlock.explain.claims import requirements
from interlock.explain.closed import complete
from interlock.explain.document import Item
from interlock.explain.local_effects import local_effect
from interlock.explain.phrases import Value, listing, say
from interlock.explain.ways_out import ways_out_of
from interlock.explain.words import Say
from interlock.faults.effects import Effect, FaultEffect, Reveal, Sign
from interlock.faults.inject import Study
from interlock.faults.severity import Severity, severity
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.words import Must, Word

PARTNERS = 6  # second faults named in a remark; the study's JSON has all


class Column(Word):
    """The columns, in their order."""

    ITEM = "item"
    MODE = "mode"
    LOCAL = "local_effect"
    END = "end_effect"
    DETECTION = "detection"
    SEVERITY = "severity_class"
    REMARK = "remark"


COLUMNS: Final = complete(
    {
        Column.ITEM: Say.COLUMN_ITEM,
        Column.MODE: Say.COLUMN_MODE,
        Column.LOCAL: Say.COLUMN_LOCAL,
        Column.END: Say.COLUMN_END,
        Column.DETECTION: Say.COLUMN_DETECTION,
        Column.SEVERITY: Say.COLUMN_SEVERITY,
        Column.REMARK: Say.COLUMN_REMARK,
    },
    Column,
    "columns of a failure modes and effects table",
)

# (the class, what it means)
CLASSES: Final = complete(
    {
        Severity.HARM: (Say.SEVERITY_HARM, Say.HARM_MEANS),
        Severity.UNDECIDED: (Say.SEVERITY_UNDECIDED, Say.UNDECIDED_MEANS),
        Severity.SERVICE: (Say.SEVERITY_SERVICE, Say.SERVICE_MEANS),
        Severity.LATENT: (Say.SEVERITY_LATENT, Say.LATENT_MEANS),
        Severity.NONE: (Say.SEVERITY_NONE, Say.NONE_MEANS),
    },
    Severity,
    "severity classes in words",
)

_SIGNS: Final = complete(
    {Sign.SENSOR: Say.SHOWN_BY_SENSOR, Sign.ALARM: Say.SHOWN_BY_ALARM, Sign.CLAIM: Say.SHOWN_BY_CLAIM},
    Sign,
    "signs of a fault in words",
)


_MAY: Final = complete(
    {Must.NEVER_RUNNING: Say.END_RUNS, Must.NEVER_STOPPED: Say.END_STOPS}, Must, "broken requirements in a table"
)


@dataclass(frozen=True, slots=True)
class FailureMode:
    """One row. `severity` is None and `excluded` the reason where the scheme leaves the fault out. `violates`: the
    claims it violates that are not violated without any fault. A cell that holds a tuple has a sentence for each."""

    fault: str
    cells: Mapping[Column, Value | tuple[Value, ...]]
    severity: Severity | None
    excluded: str = ""
    violates: tuple[str, ...] = ()


def failure_modes(scheme: Scheme, study: Study) -> tuple[FailureMode, ...]:
    """A row for each fault of the catalogue, in its order, then one for each fault left out."""
    anyway = tuple(
        claim.name for claim, found in zip(scheme.claims, study.cut_sets, strict=True) if () in found.minimal
    )
    rows = [_row(scheme, study, effect, anyway) for effect in study.effects]
    return tuple(rows + [_left_out(scheme, e.fault, e.reason) for e in scheme.excluded])


def requirements_named(scheme: Scheme, rows: Iterable[FailureMode]) -> tuple[Item, ...]:
    """The requirements that the end effects name, each with its words."""
    broken = {name for row in rows for name in row.violates}
    wanted = {claim.requirement for claim in scheme.claims if claim.name in broken}
    return tuple(item for item in requirements(scheme) if item.name in wanted)


def _row(scheme: Scheme, study: Study, effect: FaultEffect, anyway: tuple[str, ...]) -> FailureMode:
    fault = scheme.faults[effect.fault]
    violates = tuple(name for name in effect.violates if name not in anyway)
    found = severity(scheme, effect, anyway)
    reveals = [r for r in effect.revealed_by if r.name not in anyway]
    cells: dict[Column, Value | tuple[Value, ...]] = {
        **_named(scheme, fault),
        Column.END: _end(scheme, effect, violates),
        Column.DETECTION: _detection(scheme, found, reveals),
        Column.SEVERITY: say(CLASSES[found][0]),
        Column.REMARK: tuple(_remark(scheme, study, effect, found, anyway)),
    }
    return FailureMode(effect.fault, cells, found, violates=violates)


def _left_out(scheme: Scheme, name: str, reason: str) -> FailureMode:
    fault = scheme.excluded_faults[name]
    cells: dict[Column, Value | tuple[Value, ...]] = {
        **_named(scheme, fault),
        Column.END: say(Say.END_NOT_JUDGED),
        Column.DETECTION: "",
        Column.SEVERITY: say(Say.SEVERITY_LEFT_OUT),
        Column.REMARK: (say(Say.EXCLUDED, reason=reason.rstrip(". ")),),
    }
    return FailureMode(name, cells, None, excluded=reason)


def _named(scheme: Scheme, fault: Fault) -> dict[Column, Value | tuple[Value, ...]]:
    """Item, mode and local effect."""
    local = local_effect(scheme, fault)
    if fault.together:
        return {
            Column.ITEM: fault.name,
            Column.MODE: say(Say.MODE_CAUSE),
            Column.LOCAL: local,
        }
    mode = str(fault.mode).replace("_", " ")
    plain = f"{'~'.join(fault.parts)}.{fault.mode}"
    return {
        Column.ITEM: say(Say.ITEM, parts=listing(fault.parts), kind=str(fault.part)),
        Column.MODE: mode if fault.name == plain else say(Say.MODE_OWN_NAME, mode=mode, name=fault.name),
        Column.LOCAL: local,
    }


def _end(scheme: Scheme, effect: FaultEffect, violates: tuple[str, ...]) -> Value:
    said = list(_broken(scheme, violates))
    if effect.undecided:
        said.append(say(Say.END_UNDECIDED, claims=listing(effect.undecided)))
    if said:
        return listing(said, Say.SEMICOLON, Say.SEMICOLON)
    match effect.effect:
        case Effect.HARMLESS:
            return say(Say.END_HARMLESS)
        case Effect.DORMANT:
            return say(Say.END_UNSEEN)
        case Effect.VIOLATES | Effect.REVEALED | Effect.UNDECIDED:
            return say(Say.END_NONE)


def _broken(scheme: Scheme, violates: tuple[str, ...]) -> Iterable[Value]:
    """What may run or stop, requirements that say so of the same paths together."""
    paths: dict[tuple[str, Must], list[str]] = {}
    for claim in scheme.claims:
        if claim.name in violates:
            paths.setdefault((claim.requirement, claim.must), []).append(claim.path)
    together: dict[tuple[tuple[str, ...], Must], list[str]] = {}
    for (requirement, must), found in paths.items():
        together.setdefault((tuple(found), must), []).append(requirement)
    for (names, must), requirements_ in together.items():
        yield say(_MAY[must], paths=listing(names, Say.OR), requirements=listing(requirements_, Say.COMMA))


def _detection(scheme: Scheme, found: Severity, reveals: list[Reveal]) -> Value:
    if not reveals:
        return say(Say.SHOWN_BY_TESTS if found is Severity.LATENT else Say.SHOWN_BY_NOTHING)
    path = {claim.name: claim.path for claim in scheme.claims}
    said: list[Value] = [say(_SIGNS[r.sign], name=r.name) for r in reveals if r.sign is not Sign.CLAIM]
    stopped = dict.fromkeys(path[r.name] for r in reveals if r.sign is Sign.CLAIM)
    if stopped:
        said.append(say(_SIGNS[Sign.CLAIM], paths=listing(stopped)))
    return listing(said, Say.SEMICOLON, Say.SEMICOLON)


def _remark(
    scheme: Scheme, study: Study, effect: FaultEffect, found: Severity, anyway: Iterable[str]
) -> Iterable[Value]:
    fault = scheme.faults[effect.fault]
    if fault.installation:
        yield say(Say.REMARK_MISTAKE)
    rate = scheme.rates.get(effect.fault)
    if rate:
        yield say(Say.RATE, rate=f"{rate.per_hour:g}", source=rate.source.rstrip(". "))
    if found is Severity.HARM:
        yield say(Say.REMARK_SINGLE)
        yield from ways_out_of(scheme, study, effect)
    if found is Severity.LATENT:
        names = [partner.fault for partner in effect.partners]
        if len(names) > PARTNERS + 1:
            yield say(
                Say.REMARK_WITH_MORE,
                faults=listing(names[:PARTNERS], Say.COMMA),
                count=str(len(names) - PARTNERS),
            )
        elif names:
            yield say(Say.REMARK_WITH, faults=listing(names, Say.OR))
        else:
            yield say(Say.REMARK_SECONDS_UNKNOWN if study.size < 2 else Say.REMARK_NO_SECOND)
    already = [name for name in effect.violates if name in anyway]
    if already:
        yield say(Say.REMARK_ANYWAY, claims=listing(already))
