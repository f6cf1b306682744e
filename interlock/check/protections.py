"""What protects a claim: the rules that stop its path once one of its conditions holds, and what defeats each of them.

A claim of the kind never_running is answered here without looking at time. A rule protects it when a chain leads from
what the claim's condition says to the rule, and the rule blocks the path, or starts it no longer.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import NamedTuple

from interlock.check.chains import Chain, Chains
from interlock.check.guards import Defeat, Guard, Loss, Protection
from interlock.check.origins import Origin, Origins
from interlock.check.reach import Bound, sensors_of
from interlock.check.truths import Truths
from interlock.check.wiring import ahead, closed, energised, stoppable
from interlock.logic.readings import at_input, combined
from interlock.logic.scan import compare
from interlock.scheme.model import AnyOf, Claim, Condition, Limit, Rule, Scheme, Sensor, Test
from interlock.scheme.words import Combine, LineForm, Mode, OnInvalid, Signal


class _Stop(NamedTuple):
    """A rule that blocks a path or one it is behind, in these modes."""

    rule: str
    when: AnyOf


class Protections:
    """The protections of a scheme's claims, found once for all claims that share conditions and blocking rules."""

    def __init__(self, scheme: Scheme, truths: Truths, chains: Chains) -> None:
        self.scheme, self.truths, self.chains = scheme, truths, chains
        self.origins = Origins(scheme, truths)
        self._known: dict[object, Guard] = {}
        self._indexed: dict[int, dict[Origin, list[tuple[_Stop, Chain]]]] = {}
        stops: dict[str, list[_Stop]] = {name: [] for name in scheme.paths}
        self._starters: dict[str, list[str]] = {name: [] for name in scheme.paths}
        can_stop = {(unit, path) for path in scheme.paths for unit in scheme.units if stoppable(scheme, unit, path)}
        for rule in scheme.rules.values():
            for target in rule.blocks:
                if (rule.unit, target.path) in can_stop:
                    stops[target.path].append(_Stop(rule.name, target.when))
            for path in rule.starts:
                self._starters[path].append(rule.name)
        # Paths that the same rules block share one tuple, so that each set of rules is looked at once.
        alike: dict[tuple[_Stop, ...], int] = {}
        self._alike = {path: alike.setdefault(tuple(found), len(alike)) for path, found in stops.items()}
        self._stops = tuple(alike)

    def of(self, claim: Claim) -> Guard:
        """What protects a never_running claim."""
        alike = self._alike_ahead(claim.path)
        starters = tuple(self._starters[claim.path])
        loose = self._loosely(claim)
        key = (alike, starters, claim.conditions, claim.any_of, loose)
        if key not in self._known:
            found = tuple(p for c in claim.conditions for p in self._against(c, alike, starters, claim))
            loose = loose or (not any(p.enough for p in found) and self._through_conditions(claim, alike))
            self._known[key] = Guard(found, loose)
        return self._known[key]

    def blocking(self, path: str) -> tuple[str, ...]:
        """The rules that block a path, or one it is behind, whatever the mode."""
        return tuple(dict.fromkeys(s.rule for i in self._alike_ahead(path) for s in self._stops[i]))

    def _index(self, alike: int) -> dict[Origin, list[tuple[_Stop, Chain]]]:
        """The chains of a set of blocking rules by what they start from and by the lines they pass."""
        if alike not in self._indexed:
            index: dict[Origin, list[tuple[_Stop, Chain]]] = {}
            for stop in self._stops[alike]:
                for chain in self.chains.of(stop.rule):
                    passed = [(Signal.LINE, hop.line) for hop in chain.hops if hop.line]
                    for key in dict.fromkeys([(chain.signal, chain.name), *passed]):
                        index.setdefault(key, []).append((stop, chain))
            self._indexed[alike] = index
        return self._indexed[alike]

    def _alike_ahead(self, path: str) -> tuple[int, ...]:
        return tuple(dict.fromkeys(self._alike[p] for p in ahead(self.scheme, path)))

    # --- what acts against one condition

    def _against(
        self, condition: Condition, alike: Iterable[int], starters: tuple[str, ...], claim: Claim
    ) -> Iterator[Protection]:
        looked_at = self.origins.of(condition)
        for stop, chain in (found for i in alike for key in looked_at for found in self._index(i).get(key, ())):
            found = self._answers(condition, chain, stop.rule) if _applies(stop.when, claim) else None
            if found and found.enough:
                modes = self._mode_defeats(stop.when, claim)
                found = replace(found, defeats=found.defeats | self._effect_defeats(stop.rule) | modes)
            if found:
                yield found
        if starters:
            yield from self._no_longer_wanted(condition, starters)

    def _answers(self, condition: Condition, chain: Chain, rule: str) -> Protection | None:
        """The chain as a protection, its own defeats included; None where the condition does not set it in motion."""
        if condition.signal is Signal.QUANTITY:
            return self._measured(condition, chain, rule)
        for i, hop in enumerate(chain.hops):
            if condition.signal is Signal.LINE and hop.line == condition.name and hop.level is condition.test:
                return Protection(rule, condition, chain, True, defeats=self._hop_defeats(chain, i))
        if not self._same_signal(condition, chain):
            return None
        return Protection(rule, condition, chain, True, defeats=self._line_origin_defeats(chain))

    def _same_signal(self, condition: Condition, chain: Chain) -> bool:
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

    # --- values

    def _measured(self, condition: Condition, chain: Chain, rule: str) -> Protection | None:
        """A condition on a quantity against a chain that starts from a value on the same side."""
        test, limit = chain.test, condition.test
        if not (isinstance(test, Limit) and isinstance(limit, Limit)):
            return None
        downward = limit.compare.downward
        sensors = sensors_of(self.scheme, chain.signal, chain.name)
        if test.compare.downward is not downward or self._is_difference(chain):
            return None
        if all(self.truths.follows(s, condition.name, upward=downward) is None for s in sensors):
            return None
        values: dict[str, int | None] = {s.name: self.truths.worst_reading(s, condition) for s in sensors}
        worst = self._value(chain, values)
        assert worst is not None
        beyond = worst - test.value if downward else test.value - worst
        enough = _forces(condition, test, worst)
        defeats: frozenset[Defeat] = frozenset()
        if enough:
            defeats = self._hop_defeats(chain, 0) | self._sensor_defeats(condition, chain, sensors, values)
        return Protection(rule, condition, chain, enough, worst, max(beyond, 0), defeats)

    def _is_difference(self, chain: Chain) -> bool:
        return chain.signal is Signal.READING and (self.scheme.readings[chain.name].combine is Combine.DIFFERENCE_OF)

    def _value(self, chain: Chain, inputs: dict[str, int | None]) -> Bound | None:
        if chain.signal is Signal.SENSOR:
            return inputs[chain.name]
        return combined(self.scheme.readings[chain.name], inputs)

    def _sensor_defeats(
        self, condition: Condition, chain: Chain, sensors: Iterable[Sensor], values: dict[str, int | None]
    ) -> frozenset[Defeat]:
        """The sensors whose loss keeps the first rule of the chain from moving."""
        rule = self.scheme.rules[chain.first.rule]
        safe = OnInvalid.TRIP if chain.first.active else OnInvalid.CLEAR
        found = set()
        for sensor in sensors:
            for loss, mode, reads in (
                (Loss.OPEN, Mode.OPEN, sensor.open_reads),
                (Loss.SHORTED, Mode.SHORTED, sensor.shorted_reads),
            ):
                if f"{sensor.name}.{mode}" not in self.scheme.faults:
                    continue
                lost = at_input(reads, sensor.valid)
                value = self._value(chain, {**values, sensor.name: lost})
                if value is None:
                    moves = rule.on_invalid is safe
                else:  # what the lost one reads it does reach, strict condition or not
                    moves = _forces(condition, chain.test, value, reached=value == lost)
                if not moves:
                    found.add(Defeat(loss, sensor.name))
        return frozenset(found)

    # --- what defeats a protection

    def _hop_defeats(self, chain: Chain, first: int) -> frozenset[Defeat]:
        """Lines on the way whose undriven level is not the one that acts, and the units that send them."""
        found: set[Defeat] = set()
        for hop in chain.hops[first:]:
            if hop.line:
                found |= self._line_defeats(hop.line, hop.level)
        return frozenset(found)

    def _line_origin_defeats(self, chain: Chain) -> frozenset[Defeat]:
        own = self._line_defeats(chain.name, bool(chain.test)) if chain.signal is Signal.LINE else set()
        return self._hop_defeats(chain, 0) | own

    def _line_defeats(self, name: str, needed: bool) -> set[Defeat]:
        line = self.scheme.lines[name]
        if line.undriven_reads is needed:
            return set()
        found = {Defeat(Loss.WIRE, name)} if f"{name}.{Mode.BROKEN}" in self.scheme.faults else set()
        if line.unit and f"{line.unit}.{Mode.DEAD}" in self.scheme.faults:
            found.add(Defeat(Loss.UNIT, line.unit))
        return found

    def _effect_defeats(self, name: str) -> frozenset[Defeat]:
        """What keeps an active rule's block out of force."""
        rule = self.scheme.rules[name]
        found: set[Defeat] = set()
        for condition in rule.only_while:
            if condition.signal is Signal.LINE:
                found |= self._line_defeats(condition.name, bool(condition.test))
        by = rule.overridden_by
        if by and self.scheme.lines[by].undriven_reads and f"{by}.{Mode.BROKEN}" in self.scheme.faults:
            found.add(Defeat(Loss.OVERRIDE_WIRE, by))
        return frozenset(found)

    def _mode_defeats(self, when: AnyOf, claim: Claim) -> frozenset[Defeat]:
        """Lines of a path's modes that, broken, hide the mode in which the claim wants the path blocked."""
        found = set()
        for alternative in claim.any_of if when else ():
            true = {c.name: c.test for c in (*claim.conditions, *alternative) if c.signal is Signal.LINE}
            for name in dict.fromkeys(c.name for c in alternative):
                read = {**true, name: self.scheme.lines[name].undriven_reads}
                blocked = any(all(read.get(c.name) is c.test for c in other) for other in when)
                if not blocked and f"{name}.{Mode.BROKEN}" in self.scheme.faults:
                    found.add(Defeat(Loss.MODE_WIRE, name))
        return frozenset(found)

    # --- paths that rules start

    def _no_longer_wanted(self, condition: Condition, starters: tuple[str, ...]) -> Iterator[Protection]:
        """All starting rules end once the condition holds: one protection for each of the last one's ways."""
        ways = [self._ends(self.scheme.rules[name], condition) for name in starters]
        if not all(ways):
            return
        if not all(p.enough for way in ways for p in way[:1]):
            yield from (p for way in ways for p in way[:1] if not p.enough)
            return
        defeats = frozenset().union(*(frozenset.intersection(*(p.defeats for p in way)) for way in ways))
        yield replace(ways[-1][0], defeats=defeats)

    def _ends(self, rule: Rule, condition: Condition) -> list[Protection]:
        """The ways in which the condition ends one rule's start, those that allow for sensors' errors first."""
        found = [p for chain in self.chains.of(rule.name, False) if (p := self._answers(condition, chain, rule.name))]
        for c in rule.only_while:
            if (c.signal, c.name) == (condition.signal, condition.name) and c.test is not condition.test:
                own = self._line_defeats(c.name, not c.test) if c.signal is Signal.LINE else set()
                found.append(Protection(rule.name, condition, None, True, defeats=frozenset(own)))
        return sorted(found, key=lambda p: not p.enough)

    # --- what only a proof can judge

    def _loosely(self, claim: Claim) -> bool:
        return any(
            self._has_to_do_with(claim.path, c) for c in claim.conditions if c.signal in (Signal.PATH, Signal.LINE)
        )

    def _has_to_do_with(self, path: str, condition: Condition) -> bool:
        depends = self.chains.depends_on(path)
        if condition.signal is Signal.LINE:
            return condition.name in depends
        return (
            condition.name in ahead(self.scheme, path)[1:]
            or condition.name in depends
            or not depends.isdisjoint(self.chains.depends_on(condition.name))
        )

    def _through_conditions(self, claim: Claim, alike: Iterable[int]) -> bool:
        """Whether a rule that blocks the path acts only while another is active that the condition sets in motion."""
        return any(
            self._answers(c, chain, stop.rule)
            for i in alike
            for stop in self._stops[i]
            if self.scheme.rules[stop.rule].only_while
            for chain in self.chains.through_conditions(stop.rule)
            for c in claim.conditions
        )


def _forces(condition: Condition, test: Test, worst: Bound, *, reached: bool = False) -> bool:
    """Whether the worst reading while the condition holds meets the test. With a strict condition it is a bound that is
    never quite reached, so that a limit equal to it is still passed."""
    assert isinstance(test, Limit)
    assert isinstance(condition.test, Limit)
    return compare(worst, test) or (worst == test.value and condition.test.compare.strict and not reached)


def _applies(when: AnyOf, claim: Claim) -> bool:
    """Whether a block in those modes acts in all the situations that the claim speaks of."""
    if not when:
        return True
    alternatives = claim.any_of or ((),)
    return all(any({*other} <= {*mode, *claim.conditions} for other in when) for mode in alternatives)
