"""What an abstract scan takes free rules to be, read off its inputs and the places it leads to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from interlock.proof.circuit import Circuit
from interlock.proof.components import TRIPPED, FreeUse


def assumed(circuit: Circuit, inputs: Mapping[str, int], places: Sequence[int]) -> Iterator[tuple[FreeUse, bool, int]]:
    """Each use of a free rule, whether it acts in a scan with these inputs that leads to these places, and the sign of
    its input."""
    for use in circuit.free:
        group = circuit.under.get(use.name)
        acts = bool(inputs[circuit.alias.get(use.name, use.name)]) and _with_another(circuit, use.rule, inputs, places)
        if group is not None:
            acts = acts and _together(circuit, group, inputs, places)
        yield use, acts, circuit.one_sign(use.name)
    for rule, which, comp in circuit.grouped:
        acts = _together(circuit, comp, inputs, places) and _with_another(circuit, rule, inputs, places)
        yield FreeUse(f"a{comp}", rule, which), acts, 0


def _with_another(circuit: Circuit, rule: str, inputs: Mapping[str, int], places: Sequence[int]) -> bool:
    """Whether the rule that this one can be active only with is active."""
    other = circuit.abstraction.shadows.get(rule)
    if other is None:
        return True
    comp = next((c for r, _, c in circuit.grouped if r == other), None)
    if comp is not None:
        return _together(circuit, comp, inputs, places) and _with_another(circuit, other, inputs, places)
    exact = circuit.followed_as(other)
    if exact is not None:
        return places[exact] >= TRIPPED
    name = next((use.name for use in circuit.free if use.rule == other), None)
    return name is not None and bool(inputs[circuit.alias.get(name, name)])


def _together(circuit: Circuit, comp: int, inputs: Mapping[str, int], places: Sequence[int]) -> bool:
    """Whether the rules of a group, or those that settle, count as active."""
    if comp not in circuit.settling:
        return places[comp] >= TRIPPED
    name, settled = circuit.settling[comp]
    wanted = bool(inputs[name])
    if not inputs[circuit.phase]:
        return wanted
    return places[comp] == 1 and (settled.falls or wanted)
