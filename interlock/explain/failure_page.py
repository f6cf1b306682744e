"""A failure modes and effects table as a page of its own that prints on A4 landscape."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape

from interlock.explain.failure_modes import COLUMNS, Column, FailureMode
from interlock.explain.failure_table import cell, counts, item_words, notes
from interlock.explain.phrases import say, text
from interlock.explain.template import Template
from interlock.explain.words import ENGLISH, Say
from interlock.faults.severity import Severity
from interlock.scheme.model import Scheme

WIDTHS = {
    Column.ITEM: 11,
    Column.MODE: 9,
    Column.LOCAL: 18,
    Column.END: 24,
    Column.DETECTION: 12,
    Column.SEVERITY: 7,
    Column.REMARK: 19,
}
assert set(WIDTHS) == set(Column), set(Column) - set(WIDTHS)
assert sum(WIDTHS.values()) == 100, "parts of the page's width, in per cent"

LONG = 20  # signs of a name that fit the narrowest column of words

# Classes differ in weight and rule, not in colour, so that a black-and-white print tells them apart.
STYLE = """
@page { size: A4 landscape; margin: 12mm 12mm 16mm; @bottom-left { content: CAUTION; font: 7pt Arial, sans-serif;
  color: #595959; width: 85%; vertical-align: top; padding-top: 2mm }
  @bottom-right { content: counter(page) " / " counter(pages); font: 7pt Arial, sans-serif; color: #595959;
  vertical-align: top; padding-top: 2mm } }
body { font: 8pt/1.3 Arial, 'Liberation Sans', Helvetica, sans-serif; color: #000; background: #fff; margin: 1rem }
h1 { font-size: 14pt; margin: 0 }
h2 { font-size: 9pt; margin: 3mm 0 1mm; break-after: avoid }
p, ul { margin: 0 0 2mm }
table { border-collapse: collapse; width: 100%; table-layout: fixed }
caption { text-align: left; padding-bottom: 1mm }
th, td { text-align: left; vertical-align: top; border-bottom: 0.5pt solid #8a8a8a; padding: 1mm 1.2mm;
  overflow-wrap: anywhere }
th { border-bottom: 1.2pt solid #000 }
thead { display: table-header-group }
tr { break-inside: avoid }
tr.harm td:first-child { border-left: 2.4pt solid #000 }
tr.harm td.severity_class { font-weight: bold }
tr.undecided td:first-child { border-left: 2.4pt dashed #000 }
tr.left_out td { color: #595959; font-style: italic }
.caution { border: 0.8pt solid #000; padding: 1.5mm 2mm }
@media print { body { margin: 0 } }
"""


def table_page(
    scheme: Scheme, rows: Sequence[FailureMode], caution: str, catalogue: Mapping[Template, str] = ENGLISH
) -> str:
    """The page, with nothing to be fetched from anywhere. `caution`: what stands at its head and each sheet's foot."""

    def words(key: Say) -> str:
        return escape(text(say(key), catalogue))

    title = f"{words(Say.TABLE_TITLE)}: {escape(text(scheme.title))}"
    revision = f"<p>{escape(text(say(Say.OVERVIEW_REVISION, revision=scheme.revision)))}</p>" if scheme.revision else ""
    classes = "".join(
        f"<li><b>{escape(word)}</b> ({count}){': ' if means else ''}{escape(means)}</li>"
        for word, count, means in counts(rows, catalogue)
    )
    columns = "".join(f'<col style="width:{WIDTHS[column]}%">' for column in COLUMNS)
    heads = "".join(f'<th scope="col">{words(key)}</th>' for key in COLUMNS.values())
    body = "\n".join(_row(row, catalogue) for row in rows)
    below = "".join(
        _list(words(title), [item_words(i, catalogue) for i in items]) for title, items in notes(scheme, rows)
    )
    style = STYLE.replace("CAUTION", f'"{_css_string(caution)}"')
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{title}</title>\n<style>{style}</style>\n</head>\n<body>\n"
        f'<h1>{title}</h1>\n{revision}\n<p class="caution">{escape(caution)}</p>\n'
        f"<p>{words(Say.TABLE_CLASSES)}</p>\n<ul>{classes}</ul>\n"
        f"<table>\n<caption>{words(Say.TABLE_ALONE)}</caption>\n<colgroup>{columns}</colgroup>\n"
        f"<thead><tr>{heads}</tr></thead>\n<tbody>\n{body}\n</tbody>\n</table>\n{below}</body>\n</html>\n"
    )


def _list(title: str, lines: Iterable[str]) -> str:
    return f"<h2>{title}</h2>\n<ul>{''.join(f'<li>{_breakable(line)}</li>' for line in lines)}</ul>\n"


def _row(row: FailureMode, catalogue: Mapping[Template, str]) -> str:
    cells = "".join(f'<td class="{column}">{_breakable(cell(row, column, catalogue))}</td>' for column in COLUMNS)
    known: Severity | str = "left_out" if row.severity is None else row.severity
    return f'<tr class="{known}" id="{escape(row.fault)}">{cells}</tr>'


def _breakable(words: str) -> str:
    """Escaped, a long name with places to break after the signs inside it."""
    return " ".join(_name(word) for word in words.split(" "))


def _name(word: str) -> str:
    if len(word) <= LONG:
        return escape(word)
    return "".join(escape(sign) + ("<wbr>" if sign in "_.~/" else "") for sign in word)


def _css_string(words: str) -> str:
    """A text for a CSS string inside a style element."""
    return "".join(c if c.isalnum() or c in " .,;:()-" else f"\\{ord(c):x} " for c in words)
