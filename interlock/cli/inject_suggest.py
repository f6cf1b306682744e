"""What `interlock inject --suggest` tells: the single changes that take the most single points of failure away."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from interlock.cli.inject_outputs import Suggested
from interlock.cli.inject_words import names_text
from interlock.cli.render import Progress, count_text
from interlock.explain.suggestions import backings, told_change
from interlock.faults.changes import changes
from interlock.faults.inject import Study
from interlock.faults.suggest import Suggestion, Suggestions, known_of, not_holding, suggest
from interlock.scheme.edit import SchemeText, changed_lines, diff
from interlock.scheme.model import Scheme
from interlock.scheme.source import Source


def suggestions(scheme: Scheme, source: Source, study: Study, *, jobs: int, budget: int) -> Suggested:
    """Look for changes, with a line of progress on a terminal."""
    lost = not_holding(scheme, study.cut_sets)
    if lost:
        why = f"{names_text(lost)} {'is' if len(lost) == 1 else 'are'} not shown to hold without any fault"
        nothing = {"suggestions": [], "suggestions_tried": 0, "suggestions_not_looked_for": why}
        return Suggested([f"What if… not looked for: {why}. See `interlock prove`."], nothing)
    known = known_of(scheme, study.cut_sets, budget)
    line = Progress()
    line.say("looking for changes")
    try:
        found = suggest(
            known,
            changes(scheme, SchemeText(source.text), known.points, backings(scheme, known.points)),
            jobs=jobs,
            progress=lambda what, done, of: line.say(f"{done} of {of} {what}"),
        )
    except KeyboardInterrupt:
        found = Suggestions((), 0, 0, interrupted=True)
    finally:
        line.done()
    data = {
        "suggestions": [_json(scheme, source, one) for one in found.best],
        "suggestions_tried": found.tried,
        "suggestions_complete": not found.interrupted,
    }
    return Suggested(list(_told(scheme, source, found)), data, found.interrupted)


def _json(scheme: Scheme, source: Source, one: Suggestion) -> dict[str, Any]:
    """`claims_hold` is null where an interruption came before all claims were judged again."""
    return {
        "change": str(one.change.kind),
        "says": told_change(scheme, one.change),
        "removes": list(one.weight.removes),
        "adds": list(one.weight.adds),
        "claims_hold": True if one.whole else None,
        "diff": diff(source.text, one.change.text, source.name),
    }


def _told(scheme: Scheme, source: Source, found: Suggestions) -> Iterator[str]:
    tried = count_text(found.tried, "single change")
    if found.interrupted and not found.tried:
        yield "What if… interrupted before a change was tried."
        return
    if found.interrupted:
        tried = f"{found.tried} of {count_text(found.possible, 'single change')}"
    if not found.best:
        yield f"What if… {tried} tried, and none {'so far ' if found.interrupted else ''}takes a single point away."
        return
    best = "the one that takes" if len(found.best) == 1 else f"the {len(found.best)} that take"
    yield (
        f"What if… {tried} tried and judged again; {best} the most single points of failure away, the cheaper first "
        "where they are equal:"
    )
    for number, one in enumerate(found.best, 1):
        yield f"  {number}. {told_change(scheme, one.change)}"
        yield f"     Takes away {_counted(one.weight.removes)}."
        if one.weight.adds:
            yield f"     Brings {_counted(one.weight.adds)}."
        if not one.whole:
            yield "     Not proved: interrupted before all claims and faults were judged again."
        yield from (f"     {line:>5} {row}" for line, row in changed_lines(source.text, one.change.text))
    yield "Whether a unit has an output to spare, or a wire can go where it would have to, no scheme says."


def _counted(faults: tuple[str, ...]) -> str:
    return f"{len(faults)}: {', '.join(faults)}"
