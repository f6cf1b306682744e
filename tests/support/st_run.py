"""Structured text run through an independent parser: blark's tree of a function block as a Python function.

The parser and its grammar are not ours; only the meaning of its few nodes stands here, from IEC 61131-3:2013 (operators
of 7.3.2 table 71, SEL, MIN, MAX and LIMIT of table 32). Every 32-bit value is checked for its range.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from blark.parse import parse_source_code

_FUNCTIONS: Mapping[str, Callable[..., Any]] = {
    "SEL": lambda g, a, b: b if g else a,
    "MIN": min,
    "MAX": max,
    "LIMIT": lambda low, value, high: min(max(value, low), high),
}
_BINARY = {"AND": "and", "OR": "or", "+": "+", "-": "-", "*": "*", "<=": "<=", "=": "=="}
_RANGES = {"DINT": 31, "LINT": 63}


class Block:
    """One instance of the only function block of a source text. Names are kept in lower case: the language folds."""

    def __init__(self, text: str) -> None:
        parsed = parse_source_code(text)
        if parsed.exception is not None:
            raise parsed.exception
        self._block = parsed.transform().items[0]
        assert type(self._block).__name__ == "FunctionBlock"
        self.kinds: dict[str, str] = {}
        self.first: dict[str, Any] = {}
        self.sections: dict[str, str] = {}  # each variable's section
        for section in self._block.declarations:
            word = type(section).__name__ + (f" {section.attrs}" if getattr(section, "attrs", None) else "")
            for item in section.items:
                for declared in item.variables:
                    name = str(getattr(declared, "variable", declared).name).lower()
                    assert name not in self.kinds, f"{name} is declared twice"
                    self.kinds[name] = str(item.init.spec.type)
                    self.sections[name] = word
                    start = item.init.value
                    self.first[name] = eval(_python(start)) if start is not None else 0
        lines = ["def scan(v, f, check):"]
        for statement in self._block.body.statements:
            assert (type(statement).__name__, len(statement.variables)) == ("AssignmentStatement", 1)
            name = str(statement.variables[0].name).lower()
            lines.append(f"    v[{name!r}] = check({name!r}, {_python(statement.expression)})")
        names: dict[str, Any] = {}
        exec(compile("\n".join(lines), "<structured text>", "exec"), names)
        self._scan = names["scan"]
        self.values = dict(self.first)

    def power_cycle(self) -> None:
        """Variables under RETAIN stay, all others take their first values."""
        self.values = {
            name: value if "RETAIN" in self.sections[name] else self.first[name] for name, value in self.values.items()
        }

    def scan(self, inputs: Mapping[str, int | bool]) -> Mapping[str, Any]:
        """One call with these inputs; all variables afterwards."""
        for name, value in inputs.items():
            assert self.sections[name.lower()] == "InputDeclarations", name
            self.values[name.lower()] = self._check(name.lower(), value)
        for name, section in self.sections.items():
            if section == "TemporaryVariableDeclarations":
                self.values.pop(name, None)  # must be assigned before it is used
        self._scan(self.values, _FUNCTIONS, self._check)
        return self.values

    def _check(self, name: str, value: Any) -> Any:
        kind = self.kinds[name]
        if kind == "BOOL":
            assert value is True or value is False, (name, value)
        else:
            assert type(value) is int, (name, value)
            assert -(2 ** _RANGES[kind]) <= value < 2 ** _RANGES[kind], (name, value)
        return value


def _python(node: Any) -> str:
    match type(node).__name__:
        case "Integer":
            return str(int(node.value))
        case "Boolean":
            return {"TRUE": "True", "FALSE": "False"}[str(node.value)]
        case "SimpleVariable":
            return f"v[{str(node.name).lower()!r}]"
        case "ParenthesizedExpression":
            return f"({_python(node.expr)})"
        case "UnaryOperation":
            return f"({'not ' if str(node.op) == 'NOT' else {'-': '-'}[str(node.op)]}{_python(node.expr)})"
        case "BinaryOperation":
            return f"({_python(node.left)} {_BINARY[str(node.op)]} {_python(node.right)})"
        case "FunctionCall":
            name = str(node.name.name)
            assert name in _FUNCTIONS, name
            return f"f[{name!r}]({', '.join(_python(p.value) for p in node.parameters)})"
        case other:
            raise AssertionError(f"{other} is not used by exports")
