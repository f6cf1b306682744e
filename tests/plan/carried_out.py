"""A test sheet carried out on the readable engine, step by step, as someone would who knows only what it says."""

from __future__ import annotations

import random
from collections.abc import Iterator

from interlock.logic.faultset import FaultSet
from interlock.logic.scan import Engine, Seen, World
from interlock.logic.stretch import run_for
from interlock.plan.hypotheses import Hypothesis
from interlock.plan.predict import sight_named
from interlock.plan.sheet import PRESSED, Sheet, Step, sides
from interlock.plan.sights import seen
from interlock.plan.stimuli import error_of
from interlock.plan.wrong import Slip, with_slips
from interlock.scheme.grammar import read_value
from interlock.scheme.model import Fault, Scheme
from interlock.scheme.units import MICRO
from tests.support.random_worlds import split_faults

FAR = -(10**15)  # what a lead that is open or shorted gives where the scheme does not say: invalid at every input


class Installation:
    """One installation in which something is wrong from power-up on. `errors`: each sensor reads what is applied give
    or take its error and the bench's, drawn whenever something is set and, in one case of two, at each step; without,
    in the middle of that."""

    def __init__(self, scheme: Scheme, hypothesis: Hypothesis, errors: random.Random | None = None) -> None:
        self.scheme, self.errors = scheme, errors
        self.applied: dict[str, str] = {}
        self.unsteady = errors is not None and errors.random() < 0.5
        faults = [w for w in hypothesis.wrong if isinstance(w, Fault)]
        slips = [w for w in hypothesis.wrong if isinstance(w, Slip)]
        installed, arising = split_faults(faults)
        self.present = frozenset(f for group in arising for f in group)
        self.faults = FaultSet.of(s for f in faults for s in f.single())
        self.engine = Engine(with_slips(scheme, slips), installed)
        for name, value in hypothesis.held.items():
            self.engine.stuck[name] = (value, 0)
        self.readings: dict[str, int] = {}
        self.lines: dict[str, bool] = {}

    def step(self, step: Step) -> dict[str, str | None]:
        """What is seen at its end, None where it may be either."""
        pressed = dict(self.lines)
        for name, text in step.set.items():
            if text == PRESSED:
                pressed[name] = True
            elif name in self.scheme.sensors:
                self.applied[name] = text
                self.readings[name] = self._value(name, text)
            else:
                pressed[name] = self.lines[name] = text == "on"
        if self.unsteady:
            self.readings |= {name: self._value(name, text) for name, text in self.applied.items()}
        scans = max(1, -(-step.wait_s * MICRO // self.scheme.scan_us))
        last: Seen | None = None
        if pressed != self.lines:
            last = self.engine.scan(World(self.readings, pressed, self.present))
            scans -= 1
        last = run_for(self.engine, World(self.readings, self.lines, self.present), scans) or last
        assert last is not None
        found: dict[str, str | None] = {}
        for name in step.expect:
            sight = sight_named(self.scheme, name)
            value = seen(sight, last, self.faults)
            found[name] = None if value is None else sides(self.scheme, sight)[not value]
        return found

    def _value(self, name: str, text: str) -> int:
        sensor = self.scheme.sensors[name]
        if text in ("open", "shorted"):
            reads = sensor.open_reads if text == "open" else sensor.shorted_reads
            return FAR if reads is None else reads
        low, high = error_of(sensor)
        middle = (low + high) // 2
        by = middle if self.errors is None else self.errors.choice((low, high, middle, self.errors.randint(low, high)))
        return read_value(text).micro + by


def differences(
    scheme: Scheme, sheet: Sheet, hypothesis: Hypothesis, errors: random.Random | None = None
) -> Iterator[tuple[int, str]]:
    """The expected values that are not seen: step from 1, and name."""
    installation = Installation(scheme, hypothesis, errors)
    for number, step in enumerate(sheet.steps, 1):
        for name, word in installation.step(step).items():
            certain = word is not None or not hypothesis.wrong  # a healthy installation leaves no doubt
            if certain and word != step.expect[name]:
                yield number, name
