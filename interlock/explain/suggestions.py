"""Changes that could take single points of failure off the list, in words that someone can act on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from interlock.explain.closed import complete
from interlock.explain.phrases import Phrase, listing, say, sentence, text
from interlock.explain.remedies import Remedy
from interlock.explain.tables import BACKINGS
from interlock.faults.changes import Change, ChangeKind
from interlock.scheme.model import Scheme


def backing(scheme: Scheme, fault: str) -> Phrase | None:
    """What would have to back it that a fault is left out; None for a common cause, which is several parts' matter."""
    record = scheme.faults[fault]
    return None if record.together else say(Remedy.BACKED, part=say(BACKINGS[record.mode]))


def backings(scheme: Scheme, faults: Iterable[str]) -> dict[str, str]:
    """The same in words, for those of the faults that can be left out for one part's quality."""
    return {fault: text(phrase) for fault in faults if (phrase := backing(scheme, fault))}


def change_sentences(scheme: Scheme, change: Change) -> list[Phrase]:
    """What to do. `scheme`: as it is without the change."""
    return _TOLD[change.kind](scheme, change)


def told_change(scheme: Scheme, change: Change) -> str:
    """The same in words."""
    return " ".join(sentence(phrase) for phrase in change_sentences(scheme, change))


def _stale_after(_scheme: Scheme, change: Change) -> list[Phrase]:
    return [say(Remedy.TRY_STALE_AFTER, part=change.part, time=change.value)]


def _second_rule(scheme: Scheme, change: Change) -> list[Phrase]:
    key = Remedy.TRY_RULE_ON_LINE if change.via[0] in scheme.lines else Remedy.TRY_RULE_ON_OUTPUTS
    fields = {"paths": listing(change.paths)} if key is Remedy.TRY_RULE_ON_OUTPUTS else {}
    return [say(key, unit=change.unit, part=change.part, second=change.added[0], via=listing(change.via), **fields)]


def _second_output(_scheme: Scheme, change: Change) -> list[Phrase]:
    fields = {"unit": change.unit, "second": change.added[0], "part": change.part}
    return [say(Remedy.TRY_SECOND_OUTPUT, **fields, paths=listing(change.paths))]


def _second_sensor(_scheme: Scheme, change: Change) -> list[Phrase]:
    second, *readings = change.added
    fields = {"rules": listing(change.rules), "readings": listing(readings)}
    return [say(Remedy.TRY_SECOND_SENSOR, part=change.part, second=second, **fields)]


def _second_channel(scheme: Scheme, change: Change) -> list[Phrase]:
    second, *rules = change.added
    own = [name for name in change.rules if scheme.rules[name].unit == change.unit]
    said = say(
        Remedy.TRY_CHANNEL_WIRED if rules else Remedy.TRY_CHANNEL,
        unit=change.unit,
        second=second,
        part=change.part,
        paths=listing(change.paths),
        rules=listing([*own, *rules]),
    )
    if any(output.unit == change.unit for output in scheme.outputs.values()):
        return [said]
    return [said, say(Remedy.TRY_NO_OUTPUT_YET, unit=change.unit)]


def _exclusion(_scheme: Scheme, change: Change) -> list[Phrase]:
    return [say(Remedy.TRY_EXCLUSION, part=change.part, reason=change.value)]


_TOLD: Final = complete(
    {
        ChangeKind.STALE_AFTER: _stale_after,
        ChangeKind.SECOND_RULE: _second_rule,
        ChangeKind.SECOND_OUTPUT: _second_output,
        ChangeKind.SECOND_SENSOR: _second_sensor,
        ChangeKind.SECOND_CHANNEL: _second_channel,
        ChangeKind.EXCLUSION: _exclusion,
    },
    ChangeKind,
    "changes in words",
)
