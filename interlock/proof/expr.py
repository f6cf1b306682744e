"""Boolean expressions over named signals, folded as they are built: enough to print a scan as source and to take
signs."""

from __future__ import annotations

from collections.abc import Iterable

# ("1",) ("0",) ("v", name) ("n", e) ("&", e, …) ("|", e, …)
Expr = tuple[object, ...]

TRUE: Expr = ("1",)
FALSE: Expr = ("0",)


def constant(value: bool) -> Expr:
    """The expression that is always `value`."""
    return TRUE if value else FALSE


def var(name: str) -> Expr:
    """A signal by name."""
    return ("v", name)


def neg(e: Expr) -> Expr:
    """not e"""
    if e == TRUE:
        return FALSE
    if e == FALSE:
        return TRUE
    return e[1] if e[0] == "n" else ("n", e)  # type: ignore[return-value]


def same(e: Expr, value: bool) -> Expr:
    """Whether e has that value."""
    return e if value else neg(e)


def conj(items: Iterable[Expr]) -> Expr:
    """All of them."""
    kept: list[Expr] = []
    for e in items:
        if e == FALSE:
            return FALSE
        if e != TRUE and e not in kept:
            kept.append(e)
    return TRUE if not kept else kept[0] if len(kept) == 1 else ("&", *kept)


def disj(items: Iterable[Expr]) -> Expr:
    """Any of them."""
    kept: list[Expr] = []
    for e in items:
        if e == TRUE:
            return TRUE
        if e != FALSE and e not in kept:
            kept.append(e)
    return FALSE if not kept else kept[0] if len(kept) == 1 else ("|", *kept)


def text(e: Expr) -> str:
    """The expression as Python source; signals are integers or booleans."""
    match e[0]:
        case "1":
            return "True"
        case "0":
            return "False"
        case "v":
            return str(e[1])
        case "n":
            return f"(not {text(e[1])})"  # type: ignore[arg-type]
        case "&":
            return "(" + " and ".join(text(x) for x in e[1:]) + ")"  # type: ignore[arg-type]
        case _:
            return "(" + " or ".join(text(x) for x in e[1:]) + ")"  # type: ignore[arg-type]


def signs(e: Expr, sign: int = 1) -> list[tuple[str, int]]:
    """Each signal with the direction in which it moves the expression: +1 with it, -1 against it."""
    what = e[0]
    if what == "v":
        return [(str(e[1]), sign)]
    if what == "n":
        return signs(e[1], -sign)  # type: ignore[arg-type]
    found: list[tuple[str, int]] = []
    for x in e[1:]:
        found += signs(x, sign)  # type: ignore[arg-type]
    return found
