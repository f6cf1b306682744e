"""A program as the source of a Python function, in two dialects: plain numbers, or numpy arrays of many scenarios.

The source holds numbers of nodes, slots and inputs only, never a word from a scheme.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from msgspec import Struct

from interlock.logic.program import Node, Op, Program
from interlock.records import replace

DEEPEST = 12  # a value used once stands inside the expression that uses it, up to this depth


class Dialect(Struct, frozen=True, eq=False):
    """How each operator on arguments is written; `atoms`: those that write an argument more than once.

    `clamped` takes an integer input's name and range; `truths` are the words for false and true; `releases` whether a
    value is deleted after its last use, so that its memory is used again at once.
    """

    forms: Mapping[Op, Callable[[Node, list[str]], str]]
    atoms: frozenset[Op]
    clamped: str
    truths: tuple[str, str]
    releases: bool


SCALAR = Dialect(
    {
        Op.NOT: lambda _, a: f"not {a[0]}",
        Op.AND: lambda _, a: " and ".join(a),
        Op.OR: lambda _, a: " or ".join(a),
        Op.ADD: lambda _, a: f"{a[0]} + {a[1]}",
        Op.SCALE: lambda node, a: f"{a[0]} * {node.value}",
        Op.AT_MOST: lambda _, a: f"{a[0]} <= {a[1]}",
        Op.EQUAL: lambda _, a: f"{a[0]} == {a[1]}",
        Op.SELECT: lambda _, a: f"{a[1]} if {a[0]} else {a[2]}",
        Op.MIN: lambda _, a: f"{a[0]} if {a[0]} <= {a[1]} else {a[1]}",
        Op.MAX: lambda _, a: f"{a[1]} if {a[0]} <= {a[1]} else {a[0]}",
    },
    frozenset({Op.MIN, Op.MAX}),
    "{low} if {x} < {low} else {high} if {x} > {high} else {x}",
    ("False", "True"),
    releases=False,
)
ARRAYS = Dialect(
    {
        Op.NOT: lambda _, a: f"~{a[0]}",
        Op.AND: lambda _, a: " & ".join(a),
        Op.OR: lambda _, a: " | ".join(a),
        Op.ADD: lambda _, a: f"{a[0]} + {a[1]}",
        Op.SCALE: lambda node, a: f"{a[0]} * {node.value}",
        Op.AT_MOST: lambda _, a: f"{a[0]} <= {a[1]}",
        Op.EQUAL: lambda _, a: f"{a[0]} == {a[1]}",
        Op.SELECT: lambda _, a: f"where({a[0]}, {a[1]}, {a[2]})",
        Op.MIN: lambda _, a: f"minimum({a[0]}, {a[1]})",
        Op.MAX: lambda _, a: f"maximum({a[0]}, {a[1]})",
    },
    frozenset(),
    "minimum(maximum({x}, {low}), {high})",
    ("False", "True"),
    releases=True,
)
WITHIN = replace(ARRAYS, clamped="{x}")  # of inputs that are within their ranges already
_LEAVES = frozenset({Op.CONST, Op.INPUT, Op.STATE})
for _dialect in (SCALAR, ARRAYS, WITHIN):
    assert set(_dialect.forms) == set(Op) - _LEAVES, set(Op) - _LEAVES - set(_dialect.forms)


def function_source(program: Program, dialect: Dialect) -> str:
    """`scan(s, x)`: from the slots and the inputs to (the slots for the next scan, the observations), all tuples."""
    results = [slot.next for slot in program.slots], [o.node for o in program.observations]
    uses = [0] * len(program.nodes)
    for node in program.nodes:
        for a in node.args:
            uses[a] += 2 if node.op in dialect.atoms else 1  # an argument written twice needs a name
    for number in (*results[0], *results[1]):
        uses[number] += 1
    lines = [f"    {_targets('s', len(program.slots))} = s"] if program.slots else []
    lines += [f"    {_targets('x', len(program.inputs))} = x"] if program.inputs else []
    text: list[str] = []
    depth: list[int] = []
    names: list[frozenset[str]] = []  # the variables a node's text mentions
    last: dict[str, int] = {}
    for number, node in enumerate(program.nodes):
        written = _text(program, node, dialect, [text[a] for a in node.args])
        deep = 1 + max((depth[a] for a in node.args), default=0)
        mentioned = frozenset().union(*(names[a] for a in node.args))
        clamped = node.op is Op.INPUT and not node.boolean
        if (node.op in _LEAVES and not clamped) or (uses[number] < 2 and deep < DEEPEST and not clamped):
            text.append(written if node.op in _LEAVES else f"({written})")
            depth.append(0 if node.op in _LEAVES else deep)
            names.append(mentioned)
            continue
        lines.append(f"    v{number} = {written}")
        last.update(dict.fromkeys(mentioned, len(lines) - 1))
        text.append(f"v{number}")
        depth.append(0)
        names.append(frozenset({f"v{number}"}))
    returned = [", ".join(text[n] for n in numbers) + ("," if numbers else "") for numbers in results]
    if dialect.releases:
        _release(lines, last, frozenset().union(*(names[n] for numbers in results for n in numbers)))
    return "\n".join(["def scan(s, x):", *lines, f"    return ({returned[0]}), ({returned[1]})", ""])


def _targets(letter: str, count: int) -> str:
    return ", ".join(f"{letter}{i}" for i in range(count)) + ("," if count == 1 else "")


def _text(program: Program, node: Node, dialect: Dialect, args: list[str]) -> str:
    match node.op:
        case Op.CONST:
            return dialect.truths[node.value] if node.boolean else f"({node.value})"
        case Op.STATE:
            return f"s{node.value}"
        case Op.INPUT:
            declared, x = program.inputs[node.value], f"x{node.value}"
            return x if node.boolean else dialect.clamped.format(x=x, low=declared.low, high=declared.high)
        case op:
            return dialect.forms[op](node, args)


def _release(lines: list[str], last: dict[str, int], kept: frozenset[str]) -> None:
    """Delete each variable after the statement that uses it last."""
    after: dict[int, list[str]] = {}
    for name, at in last.items():
        if name not in kept:
            after.setdefault(at, []).append(name)
    for at in sorted(after, reverse=True):
        lines.insert(at + 1, f"    del {', '.join(after[at])}")
