"""What faults lead to, in sentences: if this happens, that path may run."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from typing import Final

from interlock.explain.closed import complete
from interlock.explain.conditions import time, true_all
from interlock.explain.phrases import Phrase, Value, listing, say, sentence
from interlock.explain.tables import MODE_IS
from interlock.explain.template import Template
from interlock.explain.words import ENGLISH, Say
from interlock.faults.effects import FaultEffect
from interlock.scheme.model import Claim, Fault, Scheme
from interlock.scheme.words import Contact, Mode, Must


def happened(scheme: Scheme, fault: Fault) -> Value:
    """A fault, or all of a common cause's, as something that has happened."""
    return listing(_one(scheme, single) for single in fault.single())


def _one(scheme: Scheme, fault: Fault) -> Phrase:
    key, part = MODE_IS[fault.mode], fault.parts[0]
    if fault.mode is Mode.SWAPPED:
        return say(key, part=part, other=fault.parts[1])
    if fault.mode is Mode.WELDED and scheme.outputs[part].contact is Contact.DRIVEN:
        return say(Say.IS_WELDED_DRIVEN, part=part)
    return say(key, part=part)


def consequence(scheme: Scheme, faults: Iterable[Fault], claims: Sequence[Claim]) -> Phrase:
    """If these faults happen, these claims may be broken: in words, paths of one requirement together."""
    return say(
        Say.IF_THEN,
        faults=listing(happened(scheme, fault) for fault in faults),
        consequences=broken(scheme, claims),
    )


def harm(
    scheme: Scheme, effect: FaultEffect, known: Container[str], catalogue: Mapping[Template, str] = ENGLISH
) -> str:
    """What harm the fault alone does, in a sentence, beyond the claims broken anyway (`known`); "" for nothing."""
    claims = {c.name: c for c in scheme.claims}
    more = [claims[n] for n in effect.violates if n not in known and claims[n].protects]
    return sentence(consequence(scheme, [scheme.faults[effect.fault]], more), catalogue) if more else ""


def broken(scheme: Scheme, claims: Sequence[Claim]) -> Value:
    """These claims broken, in words: paths of one requirement together."""
    by_requirement: dict[str, list[Claim]] = {}
    for claim in claims:
        by_requirement.setdefault(claim.requirement, []).append(claim)
    return listing((_broken(scheme, found) for found in by_requirement.values()), Say.SEMICOLON, Say.SEMICOLON)


def _broken(scheme: Scheme, claims: Sequence[Claim]) -> Phrase:
    first = claims[0]
    plain, conditioned = (_BROKEN if first.longer_than.us else _BROKEN_AT_ALL)[first.must]
    fields: dict[str, Value] = {"paths": listing((c.path for c in claims), Say.OR)}
    if first.longer_than.us:
        fields["time"] = time(scheme, first.longer_than)
    if first.conditions:
        return say(conditioned, **fields, conditions=true_all(scheme, first.conditions))
    return say(plain, **fields)


_BROKEN: Final = complete(
    {
        Must.NEVER_RUNNING: (Say.MAY_RUN, Say.MAY_RUN_WHILE),
        Must.NEVER_STOPPED: (Say.MAY_STOP, Say.MAY_STOP_WHILE),
    },
    Must,
    "broken claims",
)
_BROKEN_AT_ALL: Final = complete(
    {
        Must.NEVER_RUNNING: (Say.RESULT_RUNS, Say.MAY_RUN_AT_ALL_WHILE),
        Must.NEVER_STOPPED: (Say.MAY_STOP_AT_ALL, Say.MAY_STOP_AT_ALL_WHILE),
    },
    Must,
    "claims broken that allow no time",
)
