"""The scheme's examples as timing diagrams, each with its steps in words."""

from __future__ import annotations

from collections.abc import Iterable

from interlock.draw.everything import DrawingKind
from interlock.draw.page import Drawing
from interlock.explain.claims import cases as told
from interlock.handbook.html import Html, Part, element, items, joined, paragraph, safe
from interlock.handbook.inline import figures
from interlock.handbook.installation import item_html
from interlock.handbook.material import Material
from interlock.handbook.words import Catalogue
from interlock.logic.cases import CaseResult


def cases(material: Material, words: Catalogue) -> Part:
    """Case by case, whether it passes, and what is seen in it."""
    sheets = list(material.drawings.get(DrawingKind.CASE, ()))
    body = [paragraph(words("cases.says"))]
    for number, (item, result) in enumerate(zip(told(material.scheme), material.cases, strict=True), 1):
        own = [d for d in sheets if sheet_of(d.name, number)]
        steps = item_html(words, item, "")
        body += [
            element("h3", result.name),
            _result(result, words),
            Html(f"<details><summary>{words.html('cases.steps')}</summary>{steps}</details>\n"),
            figures(words, _titled(own, result.name)),
        ]
    return Part("cases", words("cases.title"), joined(body), "sheets" if sheets else "")


def sheet_of(name: str, number: int) -> bool:
    """`case_03_1` is a sheet of case 3."""
    return name.split("_")[1:2] == [f"{number:02d}"]


def _titled(sheets: Iterable[Drawing], name: str) -> list[Drawing]:
    return [Drawing(d.name, name, d.svg) for d in sheets]


def _result(result: CaseResult, words: Catalogue) -> Html:
    if result.passed:
        return paragraph(words("cases.passes"), "screen")
    return Html(f'<div class="warning"><p>{safe(words("cases.fails"))}</p>{items(failures(result, words))}</div>\n')


def failures(result: CaseResult, words: Catalogue) -> list[str]:
    """What a case expects that is not so, step by step."""
    return [
        words("cases.failed", step=step.number, name=f.name, expected=f.expected, got=f.got)
        for step in result.steps
        for f in step.failures
    ]
