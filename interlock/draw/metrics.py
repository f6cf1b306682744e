"""How wide a text is, so that boxes fit it before any browser sees it.

Widths are those of Helvetica in thousandths of the size (Adobe's Core 14 AFM files; from memory), which Arial, Arimo
and Liberation Sans share. Every text is drawn with `textLength`, so another font is squeezed to the same width.
"""

from __future__ import annotations

import unicodedata

_WIDTHS = {
    191: "'",
    222: "ijl",
    260: "|",
    278: " !,./:;I[\\]ft",
    333: "()-`r",
    334: "{}",
    355: '"',
    389: "*",
    469: "^",
    500: "Jcksvxyz",
    556: "#$0123456789?L_abdeghnopqu",
    584: "+<=>~",
    611: "FTZ",
    667: "&ABEKPSVXY",
    722: "CDHNRUw",
    778: "GOQ",
    833: "Mm",
    889: "%",
    944: "W",
    1015: "@",
}
_WIDTH = {ord(c): width for width, letters in _WIDTHS.items() for c in letters}
_BOLD = 1.08  # Helvetica-Bold is up to this much wider over ordinary words
_OTHER = 600
_WIDE = 1050


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """The width of one line of text, in the unit of `size`."""
    total = 0
    for char in text:
        width = _WIDTH.get(ord(char))
        if width is None:
            if unicodedata.combining(char):
                width = 0
            elif unicodedata.east_asian_width(char) in "WF":
                width = _WIDE
            else:
                base = unicodedata.normalize("NFD", char)[0]
                width = _WIDTH.get(ord(base), _OTHER)
        total += width
    return total * size / 1000 * (_BOLD if bold else 1)


def fitted(text: str, width: float, size: float, *, bold: bool = False) -> str:
    """One line no wider than `width`; what is cut ends in an ellipsis."""
    line = " ".join(text.split())
    if text_width(line, size, bold=bold) <= width:
        return line
    while line and text_width(line.rstrip() + "…", size, bold=bold) > width:
        line = line[:-1]
    return line.rstrip() + "…"


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """A text in lines no wider than `width`: broken at spaces, else after _, - and /, else anywhere."""
    lines: list[str] = []
    line = ""
    for piece in _pieces(text, width, size, bold=bold):
        if text_width((line + piece).rstrip(), size, bold=bold) > width and line.strip():
            lines.append(line.rstrip())
            line = piece.lstrip()
        else:
            line += piece
    if line.strip():
        lines.append(line.rstrip())
    return lines or [""]


def _pieces(text: str, width: float, size: float, *, bold: bool) -> list[str]:
    """The text cut after each place where a line may end, no piece wider than a line."""
    pieces: list[str] = []
    for word in _cut_after(" ".join(text.split("\n")), " "):
        if text_width(word.rstrip(), size, bold=bold) <= width:
            pieces.append(word)
            continue
        for part in _cut_after(word, "_-/"):
            while text_width(part.rstrip(), size, bold=bold) > width and len(part) > 1:
                cut = len(part) - 1
                while cut > 1 and text_width(part[:cut], size, bold=bold) > width:
                    cut -= 1
                pieces.append(part[:cut])
                part = part[cut:]  # noqa: PLW2901 (what is left of the part)
            pieces.append(part)
    return pieces


def _cut_after(text: str, marks: str) -> list[str]:
    pieces: list[str] = []
    start = 0
    for i, char in enumerate(text):
        if char in marks and not _belongs_together(text, i):
            pieces.append(text[start : i + 1])
            start = i + 1
    return [p for p in (*pieces, text[start:]) if p]


def _belongs_together(text: str, space: int) -> bool:
    """A number and its unit stay on one line, and a minus sign with its number."""
    if text[space] == "-":
        return text[space + 1 : space + 2].isdigit()
    before, after = text[:space].rpartition(" ")[2], text[space + 1 :].partition(" ")[0]
    number = before.replace(".", "", 1).lstrip("-").isdigit()
    return text[space] == " " and number and 0 < len(after) <= len("degC,")
