"""Whether what a claim's condition says sets a chain in motion, and how surely."""

from __future__ import annotations

from interlock.check.chains import Chain
from interlock.check.defeats import NONE, Defeats, forces, value_of
from interlock.check.guards import Protection
from interlock.check.reach import sensors_of
from interlock.check.truths import Truths
from interlock.check.wiring import closed, energised
from interlock.scheme.model import Condition, Limit, Scheme
from interlock.scheme.words import Combine, LineForm, Signal


class Answers:
    """Conditions against chains."""

    def __init__(self, scheme: Scheme, truths: Truths, defeats: Defeats) -> None:
        self.scheme, self.truths, self.defeats = scheme, truths, defeats

    def of(self, condition: Condition, chain: Chain, rule: str) -> Protection | None:
        """The chain as a protection, its own defeats included; None where the condition does not set it in motion."""
        if condition.signal is Signal.QUANTITY:
            return self._measured(condition, chain, rule)
        for i, hop in enumerate(chain.hops):
            if condition.signal is Signal.LINE and hop.line == condition.name and hop.level is condition.test:
                return Protection(rule, condition, chain, True, defeats=self.defeats.on_the_way(chain, i))
        if not self.same_signal(condition, chain):
            return None
        return Protection(rule, condition, chain, True, defeats=self.defeats.of_signals(chain))

    def same_signal(self, condition: Condition, chain: Chain) -> bool:
        """Whether a condition on a line or a path is what the chain starts from."""
        if (condition.signal, condition.name, condition.test) == chain.origin:
            return True
        if condition.signal is not Signal.PATH or chain.signal is not Signal.LINE:
            return False
        line = self.scheme.lines[chain.name]
        if line.form is not LineForm.CONFIRMS or condition.name not in self.scheme.outputs[line.output].drives:
            return False
        output = self.scheme.outputs[line.output]
        return chain.test is closed(output, energised=energised(output, on=bool(condition.test)))

    def _measured(self, condition: Condition, chain: Chain, rule: str) -> Protection | None:
        """A condition on a quantity against a chain that starts from a value on the same side."""
        test, limit = chain.test, condition.test
        if not (isinstance(test, Limit) and isinstance(limit, Limit)):
            return None
        downward = limit.compare.downward
        sensors = sensors_of(self.scheme, chain.signal, chain.name)
        if test.compare.downward is not downward or self._is_difference(chain):
            return None
        if not any(self.truths.follows(s, condition.name, upward=downward) for s in sensors):
            return None
        values: dict[str, int | None] = {s.name: self.truths.worst_reading(s, condition) for s in sensors}
        worst = value_of(self.scheme, chain, values)
        assert worst is not None
        beyond = worst - test.value if downward else test.value - worst
        enough = forces(condition, test, worst)
        defeats = NONE
        if enough:
            defeats = self.defeats.on_the_way(chain) | self.defeats.of_sensors(condition, chain, sensors, values)
        return Protection(rule, condition, chain, enough, worst, max(beyond, 0), defeats)

    def _is_difference(self, chain: Chain) -> bool:
        return chain.signal is Signal.READING and self.scheme.readings[chain.name].combine is Combine.DIFFERENCE_OF
