"""The brute force's scan driven by one world at a time: for comparing it with the readable engine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from interlock.scheme.model import Fault, Scheme
from interlock.scheme.words import LineForm, Mode, State
from tests.support.brute_parts import Array, Key, Plan, machine_codes, whole
from tests.support.brute_readings import Inputs, rule_sees
from tests.support.brute_scan import Layout, Outcome, Resets, Scan


@dataclass
class Walk:
    """A whole scheme under a fault set, scan by scan. `arisen`: bits of the plan's entries that have come."""

    scheme: Scheme
    faults: Sequence[Fault]
    resets: str = Resets.FREE

    def __post_init__(self) -> None:
        self.plan, self.cone = Plan(self.faults), whole(self.scheme)
        self.layout = Layout(self.scheme, self.cone, self.plan, self.resets)
        self.inputs = Inputs(self.scheme, self.scheme.rules, self.plan)
        self.state = self.layout.first()
        self.stuck: dict[str, tuple[Fraction, int]] = {}  # value, scans since the onset

    def scan(
        self, readings: dict[str, int], lines: dict[str, bool], arisen: int = 0, cycles: Sequence[str] = ()
    ) -> Outcome:
        """One scan; `readings` are elements before open, shorted and stuck, in millionths."""
        elements = {name: self._element(name, Fraction(value), arisen) for name, value in readings.items()}
        inputs: dict[Key, Array] = {}
        for rule in self.inputs.rules:
            inputs["seen", rule.name] = np.array([[rule_sees(rule, self.inputs.value(rule, elements))]])
        for name, line in self.scheme.lines.items():
            if line.form is LineForm.EXTERNAL:
                inputs["line", name] = np.array([[lines.get(name, False)]])
        for unit in self.plan.cycled:
            inputs["cycle", unit] = np.array([[unit in cycles]])
        outcome = Scan(self.scheme, self.cone, self.plan, arisen, self.resets, self.state, inputs).run()
        self.state = {key: outcome.columns[key].astype(np.int64) for key in self.state}
        return outcome

    def _element(self, name: str, value: Fraction, arisen: int) -> Fraction | None:
        sensor, present = self.scheme.sensors[name], self.plan.present(arisen)
        if present(Mode.STUCK, name):
            kept, age = self.stuck.get(name, (value, -1))
            self.stuck[name] = (kept, age + 1)
        for mode, reads in ((Mode.SHORTED, sensor.shorted_reads), (Mode.OPEN, sensor.open_reads)):
            if present(mode, name):
                return None if reads is None else Fraction(reads)
        if name in self.stuck:
            kept, age = self.stuck[name]
            return None if sensor.stale_after and age >= sensor.stale_after.scans else kept
        return value

    def machine(self, outcome: Outcome, rule: str) -> tuple[State, int]:
        """A rule's state and timer after a scan."""
        code = int(outcome.columns["rule", rule].item())
        tripped, awaiting, _ = machine_codes(self.scheme.rules[rule])
        if code == 0:
            return State.CLEAR, 0
        if code < tripped:
            return State.PICKING_UP, code - 1
        if code == tripped:
            return State.TRIPPED, 0
        return (State.DROPPING_OFF, code - tripped - 1) if code < awaiting else (State.AWAITING_RESET, 0)
