"""Rules that never act without another one: shown by going through all that the two can see and all states of both."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

from interlock.export.unit import UnitCode
from interlock.logic.compiled import scan_function
from interlock.logic.lower import compile_scheme
from interlock.logic.program import Input, InputKind, Observe
from interlock.records import replace
from interlock.scheme.words import Signal
from interlock.vectors.alone import alone
from interlock.vectors.inputs import Inputs

MOST_SCANS = 60_000  # looked at for two rules: with more, nothing is said


class Together:
    """Which rules of a unit act only while another does, asked pair by pair and kept."""

    def __init__(self, code: UnitCode) -> None:
        self.code, self.inputs = code, Inputs(code)
        self.rules = {rule.name: rule for rule in self.inputs.rules}
        self._known: dict[tuple[str, str], bool] = {}

    def blocked_with(self, name: str, path: str) -> str:
        """A rule that blocks a path whenever the named one acts; "" where none is known."""
        for other, rule in self.rules.items():
            always = not rule.only_while and not rule.overridden_by
            blocks = any(target.path == path and not target.when for target in rule.blocks)
            if other != name and always and blocks and self.never_without(name, other):
                return other
        return ""

    def never_without(self, name: str, other: str) -> bool:
        """Whether one rule acts at no scan of any history at which the other does not; False where that is not known.
        Asked of rules that watch the same thing, or one the other, through whatever other rules."""
        if (name, other) not in self._known:
            chains = [list(self._chain(n)) for n in (name, other)]
            known = all(chains) and (self._source(chains[0]) == self._source(chains[1]))
            self._known[name, other] = known and self._explored(name, other, {n for chain in chains for n in chain})
        return self._known[name, other]

    def _chain(self, name: str) -> Iterator[str]:
        """A rule, the rule it watches, and so on; nothing where that leads to a path or a line that the unit sends."""
        chain = [name]
        while self.rules[chain[-1]].watches is Signal.RULE:
            chain.append(self.rules[chain[-1]].watched)
        last = self.rules[chain[-1]]
        sent = last.watches is Signal.LINE and last.watched not in self.inputs.place
        if last.watches is not Signal.PATH and not sent:
            yield from chain

    def _source(self, chain: list[str]) -> tuple[Signal, str]:
        last = self.rules[chain[-1]]
        return last.watches, last.watched

    def _explored(self, name: str, other: str, names: set[str]) -> bool:
        scheme = alone(self.code.steps.scheme, self.code.unit)
        bare = {
            n: replace(rule, only_while=(), overridden_by="", override_at_most=None)
            for n, rule in scheme.rules.items()
            if n in names
        }
        lines = {n: line for n, line in scheme.lines.items() if not line.form.sent}
        few = replace(scheme, rules=bare, lines=lines, order=tuple(n for n in scheme.order if n in bare))
        program = compile_scheme(few, unit=self.code.unit, cycles=True)
        program = program.restricted([(Observe.LEVEL, n) for n in bare])
        scan, levels = scan_function(program), program.levels
        at = {o.name: i for i, o in enumerate(program.observations)}
        worlds = [[world[(i.kind, i.name)] for i in program.inputs] for world in self._worlds(program.inputs)]
        scans = 0
        done, queue = {program.initial}, [program.initial]
        while queue:
            state = queue.pop()
            for world in worlds:
                after, seen = scan(state, world)
                acts = [seen[at[n]] >= levels[n].awaiting for n in (name, other)]
                if acts[0] and not acts[1]:
                    return False
                if after not in done:
                    done.add(after)
                    queue.append(after)
            scans += len(worlds)
            if scans > MOST_SCANS:
                return False
        return True

    def _worlds(self, inputs: Sequence[Input]) -> Iterator[dict[tuple[InputKind, str], int]]:
        """All that the two can be given at one scan, as far as they can tell it apart."""
        names = [i.name for i in inputs if i.kind is InputKind.ELEMENT]
        lines = [i.name for i in inputs if i.kind is InputKind.LINE]
        values: list[list[int]] = []
        for name in names:
            lane = self.inputs.lane_of[self.inputs.place[name]]
            valid = self.inputs.scheme.sensors[name].valid
            values.append([*self.inputs.cells(lane), valid.low - 1, valid.high + 1])
        for chosen in product(*values, *([0, 1] for _ in lines), [0, 1]):
            world = {(InputKind.ELEMENT, n): v for n, v in zip(names, chosen, strict=False)}
            world |= {(InputKind.LINE, n): v for n, v in zip(lines, chosen[len(names) :], strict=False)}
            yield {**world, (InputKind.CYCLE, self.code.unit): chosen[-1]}
