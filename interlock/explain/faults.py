"""The fault catalogue, what is left out of it, rates, and accepted findings, in words."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.explain.conditions import plain_errors
from interlock.explain.document import Item, Plain
from interlock.explain.phrases import Phrase, Value, listing, say
from interlock.explain.tables import MODE_MEANS
from interlock.explain.words import Say
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.words import MODES, Mode, Part

# A swap is of two parts, so it stands in no part's own modes.
SWAPPED_PARTS = (Part.SENSOR, Part.LINE, Part.OUTPUT)

for _mode, _means in MODE_MEANS.items():
    _parts = {part for part, modes in MODES.items() if _mode in modes} | (
        set(SWAPPED_PARTS) if _mode is Mode.SWAPPED else set()
    )
    if _parts != set(_means):
        raise TypeError(f"the words for the fault mode {_mode} are not those of its parts: {_parts ^ set(_means)}")


def faults(scheme: Scheme) -> list[Item]:
    """The catalogue by kind of part and mode, then the common causes."""
    by_kind: dict[tuple[Part, Mode], list[Fault]] = {}
    causes = []
    for fault in scheme.faults.values():
        if fault.together:
            causes.append(fault)
        else:
            by_kind.setdefault((fault.part, fault.mode), []).append(fault)
    kinds = [(part, mode) for part in Part for mode in Mode if (part, mode) in by_kind]
    return [_kind(part, mode, by_kind[part, mode]) for part, mode in kinds] + [_cause(fault) for fault in causes]


def _kind(part: Part, mode: Mode, members: list[Fault]) -> Item:
    if mode is Mode.SWAPPED:
        where = say(Say.FAULT_PAIRS, pairs=_pairs([(f.parts[0], f.parts[1]) for f in members]))
    else:
        where = say(Say.FAULT_PARTS, parts=listing(_part_words(fault) for fault in members))
    sentences = (
        say(MODE_MEANS[mode][part]),
        say(_arises(mode)),
        where,
        say(Say.FAULT_COUNT, count=str(len(members))),
    )
    data: dict[str, Plain] = {
        "part": str(part),
        "mode": str(mode),
        "installation": mode.installation,
        "faults": [f.name for f in members],
        "errors": {f.name: plain_errors(f.error) for f in members if f.error},
    }
    return Item(f"{part}.{mode}", f"{part}, {str(mode).replace('_', ' ')}", sentences, data=data)


def _part_words(fault: Fault) -> str:
    """The part alone; the fault's own name where the scheme gave it one."""
    plain = f"{fault.parts[0]}.{fault.mode}"
    return fault.parts[0] if fault.name == plain else f"{fault.parts[0]} ({fault.name})"


def _arises(mode: Mode) -> Say:
    if mode is Mode.POWER_CYCLED:
        return Say.ARISES_AGAIN
    return Say.ARISES_AT_INSTALLATION if mode.installation else Say.ARISES_IN_SERVICE


def _pairs(pairs: Iterable[tuple[str, str]]) -> Value:
    """Pairs in few words: parts of which any two can be swapped together, the rest one by one."""
    partners: dict[str, dict[str, None]] = {}
    for one, other in pairs:
        partners.setdefault(one, {})[other] = None
        partners.setdefault(other, {})[one] = None
    found: list[Value] = []
    told: set[frozenset[str]] = set()
    for part, others in partners.items():
        left = [o for o in others if frozenset((part, o)) not in told]
        clique = [part]
        for other in left:
            if all(member in partners[other] and frozenset((member, other)) not in told for member in clique):
                clique.append(other)
        if len(clique) > 2:
            found.append(say(Say.PAIR_ANY_TWO, parts=listing(clique)))
            told |= {frozenset((a, b)) for a in clique for b in clique if a != b}
            left = [o for o in left if o not in clique]
        if left:
            found.append(say(Say.PAIR_WITH, part=part, others=listing(left, Say.OR)))
            told |= {frozenset((part, o)) for o in left}
    return listing(found, Say.SEMICOLON, Say.SEMICOLON)


def _cause(fault: Fault) -> Item:
    together = [single.name for single in fault.together]
    return Item(
        fault.name,
        fault.name,
        (say(Say.COMMON_CAUSE, faults=listing(together)),),
        data={"together": [*together]},
    )


def excluded(scheme: Scheme) -> list[Item]:
    """Each fault left out, with its reason."""
    return [
        Item(e.fault, e.fault, (say(Say.EXCLUDED, reason=_reason(e.reason)),), data={"reason": e.reason})
        for e in scheme.excluded
    ]


def rates(scheme: Scheme) -> list[Item]:
    """Each rate, with where it comes from."""
    return [
        Item(
            name,
            name,
            (say(Say.RATE, rate=f"{rate.per_hour:g}", source=_reason(rate.source)),),
            data={"per_hour": rate.per_hour, "source": rate.source},
        )
        for name, rate in scheme.rates.items()
    ]


def accepted(scheme: Scheme) -> list[Item]:
    """Each finding the scheme accepts, with the reason."""
    return [
        Item(
            f"{a.finding}/{a.name}",
            a.name,
            (_accepted(a.finding, a.reason),),
            data={"finding": a.finding, "part": a.name, "reason": a.reason},
        )
        for a in scheme.accepted
    ]


def _accepted(finding: str, reason: str) -> Phrase:
    return say(Say.ACCEPTED, finding=finding, reason=_reason(reason))


def _reason(text: str) -> str:
    """A reason that ends its sentence: without a full stop of its own."""
    return text.rstrip(". ")
