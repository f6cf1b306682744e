"""The look of every drawing, once: black on white, one accent, one warning colour that differs in weight too.

Lengths are points (1/72 inch); an A4 page is 595 by 842.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.scheme.words import Word

A4_SHORT, A4_LONG = 595.0, 842.0
MARGIN = 28.0

FONT = "Arimo, Arial, 'Liberation Sans', Helvetica, sans-serif"
SMALL, NORMAL, TITLE = 7.5, 9.0, 14.0  # nothing smaller is legible in print
LINE_HEIGHT = 1.28

BLACK = "#000000"
PAPER = "#ffffff"
GREY = "#6b6b6b"  # 5.3:1 on white, above the 4.5:1 that WCAG 2.2 asks of text (contrast minimum, 1.4.3)
FAINT = "#d9d9d9"
ACCENT = "#0b4f8a"  # 8.2:1 on white
WARNING = "#9c2a00"  # 7.6:1 on white; always with a heavier line or hatching too


class Stroke(Word):
    """Kinds of line. They differ in weight and dash, so that a black-and-white print tells them apart."""

    PLAIN = "plain"
    HEAVY = "heavy"
    DASHED = "dashed"
    DOTTED = "dotted"
    ACCENT = "accent"
    WARNING = "warning"
    FAINT = "faint"


@dataclass(frozen=True, slots=True)
class Pen:
    """Colour, width and dash of a line."""

    colour: str
    width: float
    dash: str = ""


PENS: dict[Stroke, Pen] = {
    Stroke.PLAIN: Pen(BLACK, 0.8),
    Stroke.HEAVY: Pen(BLACK, 1.8),
    Stroke.DASHED: Pen(BLACK, 0.8, "4 2.5"),
    Stroke.DOTTED: Pen(BLACK, 0.9, "1 2.2"),
    Stroke.ACCENT: Pen(ACCENT, 1.4),
    Stroke.WARNING: Pen(WARNING, 2.2, "6 2"),
    Stroke.FAINT: Pen(FAINT, 0.6),
}
assert set(PENS) == set(Stroke), set(Stroke) - set(PENS)
