"""A program built once more, with some of its nodes made otherwise."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from interlock.logic.builder import Builder
from interlock.logic.program import Input, Node, Op, Program

Hook = Callable[[Builder, int, int], int]  # the builder, a node's number in the program, what it was rebuilt as


def rebuilt(program: Program, hook: Hook, inputs: Callable[[Builder, Input], int] | None = None) -> Program:
    """The program with each node replaced by what `hook` makes of it, and inputs by what `inputs` does. Slots keep
    their kinds and names, and their order among those that are left."""
    b = Builder()
    at = remade(b, program, hook, inputs)
    for number, node in enumerate(program.nodes):
        if node.op is Op.STATE:
            b.leave(at[number], at[program.slots[node.value].next])
    for o in program.observations:
        b.observe(o.kind, o.name, at[o.node])
    return b.finish(program.levels)


def remade(
    b: Builder, program: Program, hook: Hook, inputs: Callable[[Builder, Input], int] | None = None
) -> list[int]:
    """The builder's node for each of the program's. The builder's slots stand in the order of the program's own."""
    at: list[int] = []
    for number, node in enumerate(program.nodes):
        at.append(hook(b, number, _made(b, program, node, [at[a] for a in node.args], inputs)))
    return at


def _made(
    b: Builder, program: Program, node: Node, args: Sequence[int], inputs: Callable[[Builder, Input], int] | None
) -> int:
    match node.op:
        case Op.CONST:
            return b.truth(bool(node.value)) if node.boolean else b.constant(node.value)
        case Op.INPUT:
            declared = program.inputs[node.value]
            return inputs(b, declared) if inputs else b.input(declared)
        case Op.STATE:
            return b.slot(program.slots[node.value])
        case Op.NOT:
            return b.negate(args[0])
        case Op.AND:
            return b.every(args)
        case Op.OR:
            return b.either(args)
        case Op.ADD:
            return b.add(*args)
        case Op.SCALE:
            return b.scale(args[0], node.value)
        case Op.AT_MOST:
            return b.at_most(*args)
        case Op.EQUAL:
            return b.equal(*args)
        case Op.SELECT:
            return b.select(*args)
        case Op.MIN:
            return b.smaller(*args)
        case Op.MAX:
            return b.larger(*args)
