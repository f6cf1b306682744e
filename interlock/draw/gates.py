"""The symbols of fault trees, turned so that causes stand on the left: the shapes that every engineer knows.

The distinctive shapes of IEC 61025 (and of IEEE 91 / ANSI Y32.14 before it): an AND gate is a dome with a flat back, an
OR gate a shield with a hollow back, a circle a basic event, a diamond one that is not developed further, a triangle
leads to another sheet. A gate that takes k of n is a shield that says so. IEC 61025 lets a tree lie on its side (from
memory); here it lies as all drawings of a scheme do.
"""

from __future__ import annotations

from interlock.draw.metrics import fitted, text_width
from interlock.draw.said import said
from interlock.draw.style import SMALL, Stroke
from interlock.draw.svg import Svg, number
from interlock.faults.tree import Gate, GateKind

GATE_WIDTH, GATE_HEIGHT = 36.0, 23.0
PITCH = GATE_WIDTH + 18  # from gate to gate at least
RADIUS = 5.5  # of a basic event; the other small symbols are as high


def gate_word(gate: Gate) -> str:
    """What stands in a gate: its shape in a word, cut where a language has no short one."""
    room = GATE_WIDTH - 9
    match gate.kind:
        case GateKind.AND:
            return fitted(said("both") if len(gate.inputs) == 2 else said("all"), room, SMALL)
        case GateKind.OR:
            return fitted(said("any"), room, SMALL)
        case GateKind.AT_LEAST:
            words = said("{needs} of {count}", needs=gate.needs, count=len(gate.inputs))
            return words if text_width(words, SMALL) <= room else f"{gate.needs}/{len(gate.inputs)}"


def gate_symbol(svg: Svg, gate: Gate, x: float, y: float) -> None:
    """A gate from the middle of its back at (x, y) to its tip, GATE_WIDTH to the right."""
    half = GATE_HEIGHT / 2
    left, top, bottom, tip = number(x), number(y - half), number(y + half), number(x + GATE_WIDTH)
    if gate.kind is GateKind.AND:
        shoulder, radius = number(x + GATE_WIDTH - half), number(half)
        svg.curve(f"M{left},{top} H{shoulder} A{radius},{radius} 0 0 1 {shoulder},{bottom} H{left} Z")
        middle = x + GATE_WIDTH / 2 - 2
    else:
        hollow, swell = number(x + 7), number(x + GATE_WIDTH * 0.62)
        svg.curve(
            f"M{left},{top} Q{swell},{top} {tip},{number(y)} Q{swell},{bottom} {left},{bottom} "
            f"Q{hollow},{number(y)} {left},{top} Z"
        )
        middle = x + GATE_WIDTH / 2
    svg.text(middle, y + 2.6, gate_word(gate), size=SMALL, anchor="middle")


def back_of(gate: Gate, x: float) -> float:
    """Where a line into the middle of a gate's back ends."""
    return x if gate.kind is GateKind.AND else x + 3.5


def circle(svg: Svg, x: float, y: float) -> None:
    """A basic event with its middle at (x, y)."""
    r = number(RADIUS)
    across = number(2 * RADIUS)
    svg.curve(f"M{number(x - RADIUS)},{number(y)} a{r},{r} 0 1 0 {across},0 a{r},{r} 0 1 0 -{across},0 Z")


def diamond(svg: Svg, x: float, y: float) -> None:
    """An event that is not developed further."""
    r = RADIUS + 0.5
    svg.polygon([(x - r, y), (x, y - r), (x + r, y), (x, y + r)], "none", Stroke.PLAIN)


def triangle(svg: Svg, x: float, y: float) -> None:
    """A part that stands on another sheet."""
    r = RADIUS + 0.5
    svg.polygon([(x - r, y + r), (x + r, y + r), (x, y - r)], "none", Stroke.PLAIN)
