"""One unit stepped through inputs, one scan at a time, and what it would tell with one rule turned."""

from __future__ import annotations

from functools import cached_property

from interlock.export.unit import UnitCode
from interlock.logic.builder import Builder
from interlock.logic.compiled import scan_function
from interlock.logic.program import Input, InputKind, Observe, Program, SlotKind
from interlock.logic.rebuild import rebuilt
from interlock.vectors.inputs import Given


class Walker:
    """Steps a unit. Positions are values: a walk can be tried from anywhere."""

    def __init__(self, code: UnitCode) -> None:
        self.code, self.program = code, code.program
        self.levels = code.program.levels
        self._scan = scan_function(self.program)
        self.rules = [name for name, rule in code.scheme.rules.items() if rule.unit == code.unit]
        at = {(s.kind, s.name): i for i, s in enumerate(self.program.slots)}
        self.states = {
            name: [coding.state(level)[0] for level in range(coding.top + 1)]
            for name, coding in self.levels.items()
            if name in self.rules
        }
        without = [name for name in self.rules if (SlotKind.LEVEL, name) not in at]
        at |= {(SlotKind.LEVEL, name): len(at) + i for i, name in enumerate(without)}
        self.slot = {name: at[SlotKind.LEVEL, name] for name in self.rules}
        self.start = self.program.initial + tuple(
            self.levels[name].powered_up(code.scheme.rules[name].power_up) for name in without
        )
        self.count = {name: at[SlotKind.OVERRIDE, name] for name in self.rules if (SlotKind.OVERRIDE, name) in at}
        self.memory = {name: i for (kind, name), i in at.items() if kind is SlotKind.ON}
        self.off = {name: i for (kind, name), i in at.items() if kind is SlotKind.SEEN_OFF}
        told = {(o.kind, o.name): i for i, o in enumerate(self.program.observations)}
        self._without = [told[Observe.LEVEL, name] for name in without]
        self._told = [told[key] for key in code.told]
        names = (*code.sensors, *code.lines)
        self._order = [len(names) if d.kind is InputKind.CYCLE else names.index(d.name) for d in self.program.inputs]

    # --- what would be told otherwise

    @cached_property
    def _forced(self) -> Program:
        """The program with two more inputs a rule: its level on the other side, its effects the other way."""
        levels = {o.node: o.name for o in self.program.observations if o.kind is Observe.LEVEL}
        effects = {o.node: o.name for o in self.program.observations if o.kind is Observe.IN_FORCE}

        def hook(b: Builder, number: int, made: int) -> int:
            if number in levels:
                name = levels[number]
                level, turned = self.levels[name], b.input(Input(InputKind.LINE, f"level of {name}"))
                active = b.at_least(made, level.awaiting)
                made = b.select(turned, b.select(active, b.constant(0), b.constant(level.top)), made)
            if number in effects:
                turned = b.input(Input(InputKind.LINE, f"effect of {effects[number]}"))
                made = b.equal(made, b.negate(turned))
            return made

        return rebuilt(self.program, hook)

    @cached_property
    def _forced_scan(self) -> tuple[object, dict[str, int], list[int], list[int]]:
        program = self._forced
        at = {d.name: i for i, d in enumerate(program.inputs)}
        told = {(o.kind, o.name): i for i, o in enumerate(program.observations)}
        names = (*self.code.sensors, *self.code.lines)
        order = [
            len(names) if d.kind is InputKind.CYCLE else names.index(d.name) if d.name in names else -1
            for d in program.inputs
        ]
        return scan_function(program), at, [told[key] for key in self.code.told], order

    def otherwise(self, slots: tuple[int, ...], given: Given, cycle: bool, turned: str) -> tuple[int, ...] | None:
        """What would be told at this scan with that one thing turned (`level of RULE`, `effect of RULE`); None where
        the unit has no such thing."""
        scan, at, told, order = self._forced_scan
        if turned not in at:
            return None
        values = [0 if i < 0 else int(cycle) if i == len(given) else given[i] for i in order]
        values[at[turned]] = 1
        _, observed = scan(slots[: len(self.program.slots)], values)  # type: ignore[operator]
        return tuple(int(observed[i]) for i in told)

    def told(
        self, slots: tuple[int, ...], given: Given, cycle: bool = False
    ) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """One scan: the slots it leaves, and what is told."""
        after, observed = self._scan(
            slots[: len(self.program.slots)], [*(int(cycle) if i == len(given) else given[i] for i in self._order)]
        )
        levels = (int(observed[i]) for i in self._without)
        return (*map(int, after), *levels), tuple(int(observed[i]) for i in self._told)

    def in_force(self, slots: tuple[int, ...], given: Given, cycle: bool) -> dict[str, bool]:
        """Whether each rule's effects are in force at this scan; rules without effects are left out."""
        values = [int(cycle) if i == len(given) else given[i] for i in self._order]
        _, observed = self._scan(slots[: len(self.program.slots)], values)
        told = zip(self.program.observations, observed, strict=True)
        return {o.name: bool(value) for o, value in told if o.kind is Observe.IN_FORCE}
