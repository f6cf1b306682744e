"""Chances, importances and inspection intervals of a study: for people, as data, and beside a drawn tree."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import floor, log10
from typing import TYPE_CHECKING, Any

from interlock.explain.injection import broken, happened
from interlock.explain.phrases import text
from interlock.faults.chance import Bounded, rates_of
from interlock.faults.claim_chances import ClaimChances
from interlock.faults.cutsets_search import CutSets
from interlock.faults.inspections import Inspections
from interlock.faults.proof_tests import HOURS_A_YEAR, Due, Interval, usual_interval, yearly_tests
from interlock.scheme.model import Claim, Scheme

if TYPE_CHECKING:  # drawing is loaded where trees are wanted
    from interlock.draw.faulttree import BasicEvent, FaultTree

NAMED = 5  # faults in a row
IMPORTANT = 5  # events of a claim told on a terminal


def names_text(names: Sequence[str], most: int = NAMED) -> str:
    """The first few, and how many more."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def figure(value: Bounded, *, at_least: bool = False) -> str:
    """A figure or its two bounds."""
    known = f"{value.lower:.2g}" if value.exact is not None else f"{value.lower:.2g} to {value.upper:.2g}"
    return f"at least {value.lower:.2g}" if at_least else known


# --- chances


def not_counted(found: ClaimChances, *, order: bool = True) -> Iterator[str]:
    """What can add to a chance, in words; larger sets only where they are not told of beside it."""
    if found.missing:
        yield f"no rate for {names_text(found.missing)}"
    if found.mistakes:
        yield f"no rate can be given for mistakes of installation ({names_text(found.mistakes, 2)})"
    if order and found.order is not None:
        yield "single faults only" if found.order == 1 else f"sets of more than {found.order} faults not looked at"
    if found.undecided:
        yield f"{found.undecided} set{'' if found.undecided == 1 else 's'} not decided"


def notes(found: ClaimChances) -> tuple[str, ...]:
    """What stands under the claim's box in its tree."""
    if found.anyway or not found.sets:
        return ()
    if found.chance is None or found.rare_event is None:
        return ("No chance: no set has a rate for each of its faults.",)
    said = figure(found.chance, at_least=found.lower_bound)
    lines = [
        f"Chance that the faults of a set are there within {found.hours:g} h, untested: {said} "
        f"(rare-event bound of what is counted {found.rare_event:.2g}).",
        f"{found.counted} of {found.sets} sets counted.",
    ]
    left = "; ".join(not_counted(found, order=False))
    if found.lower_bound:
        lines.append(f"A lower bound: {left}." if left else "A lower bound: larger sets can add to it.")
    return tuple(lines)


def tree_of(scheme: Scheme, claim: Claim, cut_sets: CutSets, found: ClaimChances) -> FaultTree:
    """The tree of one claim, each fault with its words, its rate and its importance."""
    from interlock.draw.faulttree import BasicEvent, FaultTree

    weight = {i.event: i for i in found.importances}
    rates = rates_of(scheme)

    def event(name: str) -> BasicEvent:
        words = text(happened(scheme, scheme.faults[name]))
        if name in rates:
            words += f"; {rates[name]:g} per hour"
        if name in weight and weight[name].fussell_vesely is not None:
            words += f", in {_percent(weight[name].fussell_vesely)} of the chance"
        return BasicEvent(name, words)

    return FaultTree(
        claim.name,
        text(broken(scheme, [claim])),
        tuple(tuple(event(name) for name in cut) for cut in cut_sets.minimal),
        found.order,
        notes(found),
    )


def _percent(value: Bounded | None) -> str:
    if value is None:
        return "none"
    low, high = (f"{v * 100:.0f}" if v >= 0.0995 else f"{v * 100:.2g}" for v in (value.lower, value.upper))
    return f"{low} %" if low == high else f"{low} to {high} %"


def tell_chances(chances: Sequence[ClaimChances]) -> Iterator[str]:
    """The chances of all claims, with what is not in them."""
    rated = [found for found in chances if found.chance is not None]
    if not rated:
        yield "chances: none, for no cut set has a rate for each of its faults (`rate:` in the scheme's faults)"
        return
    yield (
        f"Chance that the faults of a cut set are there within {rated[0].hours:g} h, nothing tested or mended "
        "meanwhile; harm needs the bad condition too:"
    )
    for found in chances:
        if found.anyway:
            yield f"  {found.claim}: violated without any fault"
        elif not found.sets and not found.lower_bound:
            yield f"  {found.claim}: none, no set of faults violates it"
        elif found.chance is None or found.rare_event is None or found.per_hour is None:
            yield f"  {found.claim}: not known: {'; '.join(not_counted(found))}"
        else:
            yield (
                f"  {found.claim}: {figure(found.chance, at_least=found.lower_bound)}, "
                f"{figure(found.per_hour, at_least=found.lower_bound)} per hour; "
                f"{found.counted} of {found.sets} sets counted (rare-event bound of those {found.rare_event:.2g})"
            )
            if found.lower_bound:
                yield f"    a lower bound: {'; '.join(not_counted(found))}"
            for one in found.importances[:IMPORTANT]:
                share = _percent(one.fussell_vesely)
                yield f"    {one.event}: in {share} of it (Fussell-Vesely), Birnbaum {figure(one.birnbaum)}"
            if len(found.importances) > IMPORTANT:
                yield f"    and {len(found.importances) - IMPORTANT} more: --json lists them"


def chances_json(found: ClaimChances) -> dict[str, Any]:
    """The figures of one claim as plain data; a figure is `[lower, upper]`, equal where it is exact."""
    return {
        "mission_h": found.hours,
        "chance": _pair(found.chance),
        "per_hour": _pair(found.per_hour),
        "rare_event": found.rare_event,
        "lower_bound": found.lower_bound,
        "sets": found.sets,
        "counted": found.counted,
        "missing_rates": [*found.missing],
        "mistakes_of_installation": [*found.mistakes],
        "order": found.order,
        "undecided": found.undecided,
        "violated_without_fault": found.anyway,
        "importances": [
            {"fault": i.event, "fussell_vesely": _pair(i.fussell_vesely), "birnbaum": _pair(i.birnbaum)}
            for i in found.importances
        ],
    }


def _pair(value: Bounded | None) -> list[float] | None:
    return None if value is None else [value.lower, value.upper]


# --- inspection intervals


def tell_inspections(found: Inspections) -> Iterator[str]:
    """How often each sleeping fault is to be looked for."""
    plan = found.plan
    yield (
        f"Inspection intervals that keep a second fault from meeting a sleeping one more often than {plan.bound:g} per "
        "hour, if what is found is mended at once:"
    )
    width = max((len(i.name) for i in plan.intervals), default=0)
    for interval in plan.intervals:
        yield f"  {interval.name:<{width}}  {_due(interval)}"
    if found.commissioning:
        yield f"  at commissioning, and after work on the wiring: {', '.join(found.commissioning)}"
    if not plan.intervals and not found.commissioning:
        yield "  no fault sleeps"
    if plan.intervals:
        tests = yearly_tests(plan.intervals)
        whole = "" if plan.complete else ", of the faults whose rates are given; the others come on top"
        yield f"  together {plan.per_hour:.2g} per hour by about {tests:.2g} tests a year{whole}"


def _due(interval: Interval) -> str:
    missing = f"no rate for {names_text(interval.unrated)}"
    match interval.due:
        case Due.EVERY:
            return _every(interval.hours)
        case Due.AT_LEAST_EVERY:
            return f"{_every(interval.hours)}, or more often: {missing}"
        case Due.NOT_IN_LIFE:
            return "not within a service life of 20 years"
        case Due.NOT_BY_TESTS:
            return "no interval keeps the bound"
        case Due.NO_RATE:
            return f"not known: {missing}"
        case Due.NO_SECOND:
            return "no test: no second fault arising in service makes it dangerous"


def _every(hours: float | None) -> str:
    assert hours is not None
    usual = usual_interval(hours)
    exact = f"{rounded_down(hours / HOURS_A_YEAR)} years" if hours >= HOURS_A_YEAR else f"{rounded_down(hours)} h"
    return f"{usual} (at the latest after {exact})" if usual else f"every {exact}: more often than once a day"


def rounded_down(value: float) -> str:
    """Three digits or more, never above the value: a limit must not be rounded past itself."""
    if value == 0:
        return "0"
    digits = max(0, 2 - floor(log10(value)))
    return f"{floor(value * 10**digits) / 10**digits:.{digits}f}"


def inspections_json(found: Inspections) -> dict[str, Any]:
    """The intervals as plain data; hours, and rates per hour."""
    return {
        "bound_per_hour": found.plan.bound,
        "per_hour": found.plan.per_hour,
        "complete": found.plan.complete,
        "tests_per_year": yearly_tests(found.plan.intervals),
        "intervals": [
            {
                "fault": i.name,
                "due": str(i.due),
                "hours": i.hours,
                "usual": usual_interval(i.hours) if i.hours else None,
                "per_hour": i.per_hour,
                "missing_rates": [*i.unrated],
                "second_faults": [*found.seconds[i.name]],
            }
            for i in found.plan.intervals
        ],
        "at_commissioning": [*found.commissioning],
    }
