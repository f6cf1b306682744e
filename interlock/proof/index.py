"""Look-ups into a scheme that every search needs, made once: who blocks and starts what, which truths hang together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from interlock.logic.faultset import FaultSet, scan_order
from interlock.proof.bounds import SCALE, Bounds
from interlock.scheme.model import AnyOf, Condition, Fault, Scheme
from interlock.scheme.order import LoopError
from interlock.scheme.words import Part, Signal


class Index:
    """`component` maps each quantity to the number of its group: quantities tied to each other or seen by one
    sensor."""

    def __init__(self, scheme: Scheme) -> None:
        self.scheme = scheme
        self.blockers: dict[str, list[tuple[str, AnyOf]]] = {o: [] for o in scheme.outputs}
        self.starters: dict[tuple[str, str], list[str]] = {}
        self._modal: set[str] = set()
        by_path: dict[tuple[str, str], list[str]] = {}
        for output in scheme.outputs.values():
            for path in output.drives:
                by_path.setdefault((output.unit, path), []).append(output.name)
        for rule in scheme.rules.values():
            for target in rule.blocks:
                if target.when:
                    self._modal.add(rule.name)
                for output_name in by_path.get((rule.unit, target.path), ()):
                    self.blockers[output_name].append((rule.name, target.when))
            for path in rule.starts:
                self.starters.setdefault((rule.unit, path), []).append(rule.name)
        resets = {rule.reset_by for rule in scheme.rules.values() if rule.manual}
        self.resets = tuple(name for name in scheme.lines if name in resets)  # the lines that reset a rule
        self._components()
        self.kept: dict[object, object] = {}  # what searches keep for each other (groups of what can be seen)
        self._loops: dict[frozenset[Fault], tuple[str, ...]] = {}  # by exchanges of lines, the loop that they close

    def ordered(self, faults: FaultSet) -> None:
        """Raises LoopError where exchanges of lines close a loop."""
        exchanged = faults.exchanged(Part.LINE)
        if not exchanged:
            return
        if exchanged not in self._loops:
            self._loops[exchanged] = ()
            try:
                scan_order(self.scheme, FaultSet(exchanged))
            except LoopError as error:
                self._loops[exchanged] = error.rules
        if self._loops[exchanged]:
            raise LoopError(self._loops[exchanged])

    def modal(self, rule: str) -> bool:
        """Whether one of the rule's blocks depends on a mode."""
        return rule in self._modal

    def alike(self, rules: Sequence[str], use: str) -> bool:
        """Whether rules act alike through an output (`block:OUTPUT`, `start:OUTPUT`): any of them will do there."""
        what, _, output = use.partition(":")
        if what == "block":
            found = [{str(when) for rule, when in self.blockers[output] if rule == n} for n in rules]
        else:
            paths = self.scheme.outputs[output].drives
            found = [{p for p in paths if p in self.scheme.rules[n].starts} for n in rules]
        return all(f and f == found[0] for f in found)

    def truths(self, conditions: Iterable[Condition]) -> list[tuple[Condition, ...]]:
        """The conditions on quantities, those of one group of quantities together, by the groups' numbers."""
        found: dict[int, list[Condition]] = {}
        for c in conditions:
            if c.signal is Signal.QUANTITY:
                found.setdefault(self.component[c.name], []).append(c)
        return [tuple(found[number]) for number in sorted(found)]

    def _components(self) -> None:
        scheme = self.scheme
        lead = {q: q for q in scheme.quantities}

        def find(q: str) -> str:
            while lead[q] != q:
                lead[q] = lead[lead[q]]
                q = lead[q]
            return q

        for quantity in scheme.quantities.values():
            for tie in (quantity.at_least, quantity.at_most):
                if tie:
                    lead[find(tie.other)] = find(quantity.name)
        for sensor in scheme.sensors.values():
            for error in sensor.measures[1:]:
                lead[find(error.quantity)] = find(sensor.measures[0].quantity)
        numbers: dict[str, int] = {}
        self.component = {q: numbers.setdefault(find(q), len(numbers)) for q in scheme.quantities}
        self.members: list[list[str]] = [[] for _ in numbers]
        for q, n in self.component.items():
            self.members[n].append(q)
        self._truth: dict[int, Bounds] = {}
        self._sensors: list[list[str]] = [[] for _ in numbers]
        for sensor in scheme.sensors.values():
            self._sensors[self.component[sensor.measures[0].quantity]].append(sensor.name)

    def truth(self, component: int) -> Bounds:
        """What the quantities of a group can be together: spans, ties, and what each sensor's intervals imply.

        Variables: zero, then the group's members in the scheme's order. Raises ValueError where nothing satisfies them.
        """
        if component in self._truth:
            return self._truth[component]
        members = self.members[component]
        place = {q: i + 1 for i, q in enumerate(members)}
        bounds = Bounds(len(members) + 1)
        possible = True
        for q in members:
            quantity = self.scheme.quantities[q]
            possible &= bounds.add(place[q], 0, quantity.span.high * SCALE)
            possible &= bounds.add(0, place[q], -quantity.span.low * SCALE)
            if quantity.at_least:
                possible &= bounds.add(place[quantity.at_least.other], place[q], -quantity.at_least.difference * SCALE)
            if quantity.at_most:
                possible &= bounds.add(place[q], place[quantity.at_most.other], quantity.at_most.difference * SCALE)
        for name in self._sensors[component]:
            measures = self.scheme.sensors[name].measures
            for a in measures:
                for b in measures:
                    if a is not b:
                        # reading - a >= low_a and reading - b <= high_b
                        bound = (b.interval.high - a.interval.low) * SCALE
                        possible &= bounds.add(place[a.quantity], place[b.quantity], bound)
        if not possible:
            raise ValueError("no truth satisfies the spans, ties and sensors' intervals together")
        self._truth[component] = bounds
        return bounds
