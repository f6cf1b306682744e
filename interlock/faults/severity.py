"""How bad a fault is by itself, from what the claims it violates protect.

A scheme states no severities, and none are invented: a requirement says which way it fails. `never_running` keeps
harm from the pack and what hangs on it, `never_stopped` keeps a service.
"""

from __future__ import annotations

from collections.abc import Iterable

from interlock.faults.effects import Effect, FaultEffect
from interlock.scheme.model import Scheme
from interlock.scheme.words import Must, Word


class Severity(Word):
    """The class of a fault alone, the worst first.

    HARM: it violates a never_running claim. UNDECIDED: for one of those it is not known. SERVICE: it violates a
    never_stopped claim and no other. LATENT: it violates none, nothing shows it, and it is not proved harmless: a
    second fault will find it waiting. NONE: it violates none, and it shows or is proved harmless.
    """

    HARM = "harm"
    UNDECIDED = "undecided"
    SERVICE = "service"
    LATENT = "latent"
    NONE = "none"


def severity(scheme: Scheme, effect: FaultEffect, anyway: Iterable[str] = ()) -> Severity:
    """The class of one fault. `anyway`: the claims violated without any fault, which say nothing about this one."""
    already = frozenset(anyway)
    must = {c.name: c.must for c in scheme.claims}
    broken = {must[name] for name in effect.violates if name not in already}
    if Must.NEVER_RUNNING in broken:
        return Severity.HARM
    unknown = {must[name] for name in effect.undecided}
    if Must.NEVER_RUNNING in unknown:
        return Severity.UNDECIDED
    if Must.NEVER_STOPPED in broken:
        return Severity.SERVICE
    if unknown:
        return Severity.UNDECIDED
    return Severity.LATENT if effect.effect is Effect.DORMANT else Severity.NONE
