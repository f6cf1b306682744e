"""How bad a fault is by itself, from what the claims it violates protect.

A scheme states no severities, and none are invented: a requirement says which way it fails. `never_running` keeps
harm from the pack and what hangs on it, and so does `never_stopped` with `protects: yes`; else that keeps a service.
"""

from __future__ import annotations

from collections.abc import Iterable

from interlock.faults.effects import Effect, FaultEffect
from interlock.scheme.model import Scheme
from interlock.scheme.words import Word


class Severity(Word):
    """The class of a fault alone, the worst first.

    HARM: it violates a claim that protects. UNDECIDED: for one of those it is not known. SERVICE: it violates claims
    that ask for a service and no other. LATENT: it violates none, nothing shows it, and it is not proved harmless: a
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
    protects = {c.name: c.protects for c in scheme.claims}
    broken = {protects[name] for name in effect.violates if name not in already}
    if True in broken:
        return Severity.HARM
    unknown = {protects[name] for name in effect.undecided}
    if True in unknown:
        return Severity.UNDECIDED
    if broken:
        return Severity.SERVICE
    if unknown:
        return Severity.UNDECIDED
    return Severity.LATENT if effect.effect is Effect.DORMANT else Severity.NONE
