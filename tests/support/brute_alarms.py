"""How long an alarm can sound or be silent once all faults of a set are there, by brute force over all states."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from interlock.scheme.model import Claim, Delay, Fault, Scheme
from interlock.scheme.words import Mode, Must
from tests.support.brute import Options, Search
from tests.support.brute_parts import Array
from tests.support.brute_scan import Outcome


class AlarmSearch(Search):
    """Scans at which a rule's alarm sounds (`sounds`) or is silent, with every fault of the set arisen, are bad."""

    def __init__(self, scheme: Scheme, rule: str, sounds: bool, faults: Sequence[Fault]) -> None:
        self.rule, self.sounds = scheme.rules[rule], sounds
        claim = Claim("alarm", next(iter(scheme.paths)), Must.NEVER_RUNNING, (), (), Delay(0, 0))
        super().__init__(scheme, claim, faults, Options(narrowed=False))

    def _could(self, outcome: Outcome, arisen: int) -> Array:
        if arisen + 1 < 1 << len(self.plan.arising):
            return np.zeros((1, 1), dtype=bool)
        present = self.plan.present(arisen)
        mute = present(Mode.DEAD, self.rule.unit) or present(Mode.FROZEN, self.rule.unit)
        sounding = outcome.in_force[self.rule.name] & (not mute)
        return sounding if self.sounds else ~sounding


def longest(scheme: Scheme, rule: str, sounds: bool, faults: Sequence[Fault] = ()) -> int | None:
    """The most scans in a row at which the alarm sounds (is silent) with all faults there; None: without end."""
    search = AlarmSearch(scheme, rule, sounds, faults)
    search.explore()
    return search.longest_run()
