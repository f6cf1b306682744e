"""An explanation as plain text of a given width, and as plain data for JSON."""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import wrap

from interlock.explain.document import Document, Item, Plain
from interlock.explain.phrases import sentence, text
from interlock.explain.tables import TITLES
from interlock.explain.template import Template
from interlock.explain.words import ENGLISH

NARROWEST = 30


def document_text(document: Document, width: int = 80, catalogue: Mapping[Template, str] = ENGLISH) -> str:
    """The explanation as text, wrapped to `width` columns (at least 30); ends with a line break."""
    width = max(width, NARROWEST)
    blocks = ["\n".join(_titled(text(document.title), "=", width))]
    for chapter in document.chapters:
        title = text(catalogue[TITLES[chapter.section]])
        blocks.append("\n".join(_titled(title, "-", width)))
        blocks += ["\n".join(_item(item, width, catalogue)) for item in chapter.items]
    return "\n\n".join(blocks) + "\n"


def _titled(title: str, rule: str, width: int) -> list[str]:
    lines = _wrapped(title, width)
    return [*lines, rule * max(len(line) for line in lines)]


def _item(item: Item, width: int, catalogue: Mapping[Template, str]) -> list[str]:
    heading = text(item.heading, catalogue)
    lines = _wrapped(heading + ":", width) if heading else []
    indent = "  " if heading else ""
    paragraph = " ".join(sentence(s, catalogue) for s in item.sentences)
    lines += _wrapped(paragraph, width, indent, indent) if paragraph else []
    for point in item.points:
        lines += _wrapped(text(point, catalogue), width, indent + "- ", indent + "  ")
    return lines


def _wrapped(words: str, width: int, first: str = "", rest: str = "") -> list[str]:
    return wrap(
        words, width, initial_indent=first, subsequent_indent=rest, break_long_words=False, break_on_hyphens=False
    ) or [first.rstrip()]


def document_json(document: Document, catalogue: Mapping[Template, str] = ENGLISH) -> dict[str, Plain]:
    """The explanation as plain data: `{scheme, revision, sections: [{section, title, items: [{name, heading,
    sentences, points, facts}]}]}`; times in seconds, values in the unit given beside them."""
    return {
        "scheme": document.title,
        "revision": document.revision,
        "sections": [
            {
                "section": str(chapter.section),
                "title": text(catalogue[TITLES[chapter.section]]),
                "items": [_plain_item(item, catalogue) for item in chapter.items],
            }
            for chapter in document.chapters
        ],
    }


def _plain_item(item: Item, catalogue: Mapping[Template, str]) -> dict[str, Plain]:
    return {
        "name": item.name,
        "heading": text(item.heading, catalogue),
        "sentences": [sentence(s, catalogue) for s in item.sentences],
        "points": [text(p, catalogue) for p in item.points],
        "facts": dict(item.data),
    }
