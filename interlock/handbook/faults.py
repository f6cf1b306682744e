"""What happens when a part fails: single points in words, and every fault in a table."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from interlock.explain.failure_modes import COLUMNS, Column, FailureMode, failure_modes
from interlock.explain.failure_table import cell, counts
from interlock.explain.injection import harm
from interlock.explain.phrases import say, text
from interlock.explain.ways_out import told_ways_out
from interlock.faults.effects import Effect, FaultEffect, Sign
from interlock.faults.inject import Study
from interlock.handbook.html import Html, Part, coded, element, items, joined, paragraph, safe, table
from interlock.handbook.material import Material
from interlock.handbook.words import Catalogue
from interlock.scheme.model import Scheme


def faults(material: Material, words: Catalogue) -> Part:
    """The study of single faults, or that it is not here."""
    study = material.study
    if study is None:
        body = Html(f'<div class="warning">{paragraph(coded(words("faults.left_out")))}</div>\n')
        return Part("faults", words("faults.title"), body)
    body = joined(
        [
            paragraph(words("faults.says")),
            Html(f'<div class="warning">{paragraph(words("faults.incomplete"))}</div>\n')
            if study.interrupted
            else Html(""),
            *_singles(material.scheme, study, words, installed=False),
            *_singles(material.scheme, study, words, installed=True),
            *_table(material.scheme, study, words),
        ]
    )
    return Part("faults", words("faults.title"), body)


def singles(scheme: Scheme, study: Study, words: Catalogue, *, installed: bool) -> list[tuple[FaultEffect, str]]:
    """The faults that alone let something run that must not, each with what it lets run: those in service, or those
    of installation."""
    known = {c.name for c, f in zip(scheme.claims, study.cut_sets, strict=True) if () in f.minimal}
    return [
        (effect, said)
        for effect in study.effects
        if effect.effect is Effect.VIOLATES and scheme.faults[effect.fault].installation is installed
        for said in [harm(scheme, effect, known, words.phrases)]
        if said
    ]


def single_words(
    scheme: Scheme, study: Study, effect: FaultEffect, said: str, words: Catalogue
) -> tuple[str, str, str]:
    """What a single point of failure in service leads to, what helps, what shows it."""
    helps = told_ways_out(scheme, study, effect, words.phrases)
    return f"{said}.", helps, _signs(scheme, effect, words)


def _singles(scheme: Scheme, study: Study, words: Catalogue, *, installed: bool) -> Iterator[Html]:
    """The single points: in service each with what helps against it, mistakes of installation in a line each."""
    kind = "mistakes" if installed else "singles"
    found = singles(scheme, study, words, installed=installed)
    yield element("h3", words(f"faults.{kind}"))
    if not found:
        yield paragraph(words(f"faults.no_{kind}"))
        return
    yield paragraph(words(f"faults.{kind}_says"))
    if installed:
        listed = items(joined([Html(f"<b>{safe(e.fault)}</b>: "), f"{said}."]) for e, said in found)
        yield Html(
            f"<details><summary>{safe(words.count('faults.mistakes_open', len(found)))}</summary>{listed}</details>\n"
        )
        return
    for effect, said in found:
        yield element("h4", effect.fault)
        harms, *more = single_words(scheme, study, effect, said, words)
        yield paragraph(harms)
        yield items(coded(text) for text in more)


def _signs(scheme: Scheme, effect: FaultEffect, words: Catalogue) -> str:
    if not effect.revealed_by:
        return words("faults.shows_by_nothing")
    path = {claim.name: claim.path for claim in scheme.claims}
    by_sign: dict[Sign, dict[str, None]] = {}
    for reveal in effect.revealed_by:
        by_sign.setdefault(reveal.sign, {})[path.get(reveal.name, reveal.name)] = None
    said = [words(f"faults.sign_{sign}", names=", ".join(names)) for sign, names in by_sign.items()]
    return words("faults.shows_by", signs="; ".join(said))


def _table(scheme: Scheme, study: Study, words: Catalogue) -> Iterator[Html]:
    rows = failure_modes(scheme, study)
    yield element("h3", words("faults.table"))
    yield paragraph(words("faults.classes"))
    yield items(class_words(rows, words))
    shown = table(
        words("faults.table_caption"),
        [text(say(COLUMNS[c]), words.phrases) for c in Column],
        [_row(row, words) for row in rows],
        "faults",
    )
    opens = words.count("faults.table_open", len(rows))
    yield Html(f"<details><summary>{safe(opens)}</summary>\n{shown}</details>\n")


def class_words(rows: Sequence[FailureMode], words: Catalogue) -> list[str]:
    """The severity classes, how many faults are in each, and what each means."""
    return [f"{word} ({count})" + (f": {means}" if means else "") for word, count, means in counts(rows, words.phrases)]


def _row(row: FailureMode, words: Catalogue) -> Sequence[str]:
    return [cell(row, column, words.phrases) for column in Column]
