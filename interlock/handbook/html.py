"""Small pieces of HTML. A `Html` is markup that is whole and safe; everything else is text and gets escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

LONG = 18  # letters of a name that fit a narrow column


class Html(str):
    """Markup, already escaped."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the page. `ident`: its address on the page; `body`: all that stands under its title. `kind`: "wide" for
    one that prints across, "sheets" for one of drawings that bear their own titles in print, "" for all others."""

    ident: str
    title: str
    body: Html
    kind: str = ""


def safe(text: str) -> Html:
    """A text, or markup as it is. Control characters become a replacement mark; long names may break after the signs
    inside them."""
    if isinstance(text, Html):
        return text
    return Html(" ".join(_word(word) for word in _printable(text).split(" ")))


def plain(text: str) -> Html:
    """A text without places to break, for attributes and titles."""
    return text if isinstance(text, Html) else Html(escape(_printable(text)))


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in " ".join(text.split()))


def _word(word: str) -> str:
    if len(word) <= LONG:
        return escape(word)
    return "".join(escape(sign) + ("<wbr>" if sign in "_.~/" else "") for sign in word)


def coded(text: str) -> Html:
    """A text in which what stands between backticks is a scheme's own words."""
    parts = text.split("`")
    if len(parts) % 2 == 0:  # one without a partner is a letter like others
        return safe(text)
    return joined(Html(f"<code>{safe(part)}</code>") if i % 2 else part for i, part in enumerate(parts))


def joined(parts: Iterable[str]) -> Html:
    """Markup after markup; texts among it are escaped."""
    return Html("".join(safe(part) for part in parts))


def element(name: str, content: str, attributes: str = "") -> Html:
    """An element around a text or markup."""
    return Html(f"<{name}{' ' if attributes else ''}{attributes}>{safe(content)}</{name}>\n")


def paragraph(text: str, kind: str = "") -> Html:
    """A paragraph, or nothing where there is no text."""
    return element("p", text, f'class="{kind}"' if kind else "") if text else Html("")


def items(texts: Iterable[str], kind: str = "") -> Html:
    """A list, or nothing where nothing is in it."""
    found = "".join(element("li", text) for text in texts)
    return Html(f"<ul{f' class={chr(34)}{kind}{chr(34)}' if kind else ''}>{found}</ul>\n") if found else Html("")


def table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]], kind: str = "") -> Html:
    """A table with a head, each row's first cell heading it. On a phone a row becomes a block of its own, each cell
    under the words of its column."""
    head = "".join(f'<th scope="col">{safe(h)}</th>' for h in heads)
    body = "".join(_row(heads, row) for row in rows)
    return Html(
        f'<table class="{kind or "plain"}"><caption>{safe(caption)}</caption>\n<thead><tr>{head}</tr></thead>\n'
        f"<tbody>\n{body}</tbody>\n</table>\n"
    )


def _row(heads: Sequence[str], row: Sequence[str]) -> str:
    first, *rest = row
    cells = "".join(
        f'<td data-head="{plain(head)}">{safe(cell)}</td>' for head, cell in zip(heads[1:], rest, strict=True)
    )
    return f'<tr><th scope="row">{safe(first)}</th>{cells}</tr>\n'


def pairs(rows: Iterable[tuple[str, str]]) -> Html:
    """Words and what they stand for."""
    found = "".join(f"<div><dt>{safe(name)}</dt><dd>{safe(value)}</dd></div>" for name, value in rows)
    return Html(f"<dl>{found}</dl>\n") if found else Html("")


def words_of(markup: str) -> str:
    """The lower-case text of markup, for looking words up in it; what stands in scripts and styles is none."""
    out: list[str] = []
    rest = markup
    for gone in ("script", "style"):
        pieces = rest.split(f"<{gone}")
        rest = pieces[0] + "".join(piece.partition(f"</{gone}>")[2] for piece in pieces[1:])
    for piece in rest.split("<"):
        out.append(piece.partition(">")[2] if ">" in piece else piece)
    return " ".join("".join(out).replace("&amp;", "&").split()).lower()
