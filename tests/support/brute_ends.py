"""Dead ends by brute force: every state, every world, backward from the scans at which the path surely runs."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from interlock.records import replace
from interlock.scheme.model import Claim, Delay, Scheme
from interlock.scheme.words import LineForm, Must, Signal
from tests.support.brute import Options, Search
from tests.support.brute_parts import TRIPS, Array


class Ends:
    """All states that a path's cone can reach, and which scans lead from which to which."""

    def __init__(self, scheme: Scheme, path: str, most_states: int) -> None:
        """Raises OutOfReach."""
        self.scheme = scheme
        claim = Claim("back", path, Must.NEVER_RUNNING, (), (), Delay(0, 0))
        self.search = Search(scheme, claim, (), Options(most_states=most_states))
        self.search.explore()
        self.steps = []
        for states, config, arisen, before in self.search.batches(self.search.reached):
            inputs, width = self.search.inputs_under(config)
            self.search.claim = claim
            after, _, run = self.search.look(states, inputs, width, arisen, before)
            self.search.claim = replace(
                claim, must=Must.NEVER_STOPPED
            )  # only what is asked of the path, not the resets
            _, _, stop = self.search.look(states, inputs, width, arisen, before)
            self.steps.append((states, inputs, after, run & ~stop))

    def calls(self, starter: str) -> list[dict[tuple[str, ...], int]]:
        """What can be seen while a starting rule's trip condition holds, by all rules that watch the same: the codes of
        a value or a line's state. Nothing where the call comes from no value and no external line."""
        rule = self.scheme.rules[starter]
        while rule.watches is Signal.RULE and rule.trips.test is True:
            rule = self.scheme.rules[rule.watched]
        if ("line", rule.watched) in self.steps[0][1]:
            return [{("line", rule.watched): int(bool(rule.trips.test))}]
        if not rule.watches.numeric:
            return []
        keys = [k for k in self.steps[0][1] if k[0] == "seen" and self.scheme.rules[k[1]].watched == rule.watched]
        seen = np.stack([self.steps[0][1][k][0] for k in keys])
        found = [dict(zip(keys, map(int, column), strict=True)) for column in np.unique(seen, axis=1).T]
        return [held for held in found if held["seen", rule.name] == TRIPS]

    def stranded(self, attended: bool, held: Mapping[tuple[str, ...], int] | None = None) -> bool:
        """Whether a reachable state (power-up included only once a scan has been) has no way back to running, while
        the inputs `held` are what they are."""
        reached = self.search.reached
        nobody = {r.reset_by for r in self.scheme.rules.values() if r.manual}
        good = np.zeros(len(reached), dtype=bool)
        moves: list[tuple[Array, Array, Array]] = []
        for states, inputs, after, runs in self.steps:
            width = after.shape[1]
            able = np.ones((1, width), dtype=bool)
            for key, values in inputs.items():
                line = key[0] == "line" and self.scheme.lines[key[1]].form is LineForm.EXTERNAL
                if held and key in held:
                    able &= values == held[key]
                elif not attended and line and key[1] in nobody:
                    able &= ~values
            source = np.searchsorted(reached, states)
            target = np.searchsorted(reached, after[:, able[0]])
            moves.append((source, target, runs[:, able[0]]))
            good[source] |= moves[-1][2].any(axis=1)
        while True:
            before = good.sum()
            for source, target, _ in moves:
                good[source] |= good[target].any(axis=1)
            if good.sum() == before:
                break
        start = self.search.layout.start
        again = any(start in after for _, _, after, _ in self.steps)
        judged = np.ones(len(reached), dtype=bool) if again else reached != start
        return bool((~good & judged).any())
