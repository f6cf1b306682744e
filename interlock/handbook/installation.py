"""The handbook's beginning: in short, cautions, the installation in sentences, the drawings of the whole."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from interlock.draw.everything import DrawingKind
from interlock.draw.page import Drawing
from interlock.explain.closed import Section
from interlock.explain.document import Chapter, Item
from interlock.explain.phrases import sentence, text
from interlock.explain.sentences import document
from interlock.explain.tables import TITLES
from interlock.faults.effects import Effect
from interlock.handbook.html import Html, Part, element, items, joined, paragraph, safe
from interlock.handbook.inline import figures
from interlock.handbook.material import Material
from interlock.handbook.words import Catalogue
from interlock.proof.prove import Outcome
from interlock.scheme.model import Path, Scheme

# What the installation is, told at the beginning; the parts one by one stand at the end of the page.
FIRST = (Section.OVERVIEW, Section.QUANTITIES, Section.PATHS, Section.NOT_PROTECTED)
LATER = (
    Section.SENSORS,
    Section.READINGS,
    Section.LINES,
    Section.OUTPUTS,
    Section.DEVICES,
    Section.GROUPS,
    Section.EXCLUDED,
    Section.RATES,
    Section.ACCEPTED,
)


def sources(scheme: Scheme) -> list[Path]:
    """The paths that can charge the pack."""
    return [path for path in scheme.paths.values() if path.flow.charge is not None]


def loads(scheme: Scheme) -> list[Path]:
    """The paths that can draw from it."""
    return [path for path in scheme.paths.values() if path.flow.discharge is not None]


def about(material: Material, words: Catalogue) -> Part:
    """What there is, and whether all is well with it."""
    scheme = material.scheme
    body = [items(short_words(material, words), "good" if material.good and material.whole else "")]
    missing = list(missing_words(material, words))
    if missing:
        body.append(Html(f'<div class="warning">{paragraph(words("about.missing"))}{items(missing)}</div>\n'))
    example = next(iter(scheme.rules), next(iter(scheme.paths), ""))
    body.append(paragraph(words("about.reads", example=example)))
    return Part("about", words("about.title"), joined(body))


def short_words(material: Material, words: Catalogue) -> list[str]:
    """What there is, counted, then what was found about it."""
    scheme = material.scheme
    counted = words(
        "about.counts",
        sources=words.count("about.sources", len(sources(scheme))),
        loads=words.count("about.loads", len(loads(scheme))),
        rules=words.count("about.rules", len(scheme.rules)),
        claims=words.count("about.claims", len(scheme.claims)),
    )
    return [counted, *judged_words(material, words)]


def judged_words(material: Material, words: Catalogue) -> Iterator[str]:
    """What was found about claims, cases and faults, a sentence each."""
    yield _claims_judged(material, words)
    if not material.cases:
        yield words("about.no_cases")
    elif failed := sum(not case.passed for case in material.cases):
        yield words("about.cases_failed", failed=failed, count=len(material.cases))
    else:
        yield words.count("about.cases_passed", len(material.cases))
    if material.study is not None and not material.study.interrupted:
        singles = [
            e
            for e in material.study.effects
            if e.effect is Effect.VIOLATES and not material.scheme.faults[e.fault].installation
        ]
        yield words.count("about.singles", len(singles)) if singles else words("about.no_singles")


def _claims_judged(material: Material, words: Catalogue) -> str:
    if not material.scheme.claims:
        return words("about.no_claims")
    found = {o: sum(v.outcome is o for v in material.verdicts.values()) for o in Outcome}
    if found[Outcome.HOLDS] == len(material.scheme.claims):
        return words("about.all_hold")
    said = [f"{count} {words(f'claims.{outcome}')}" for outcome, count in found.items() if count]
    said += [f"{material.unjudged} {words('claims.not_judged')}"] if material.unjudged else []
    bad = found[Outcome.VIOLATED] or found[Outcome.VACUOUS]
    return words("about.not_all_hold" if bad else "about.undecided", counts=", ".join(said))


def missing_words(material: Material, words: Catalogue) -> Iterator[str]:
    """What was interrupted or left out."""
    if material.unjudged:
        yield words.count("missing.claims", material.unjudged)
    if material.study is None:
        yield words("missing.faults_left_out")
    elif material.study.waiting:
        yield words.count("missing.faults", material.study.waiting)
    elif material.study.interrupted:
        yield words("missing.faults_signs")


def cautions(words: Catalogue) -> Html:
    """The cautions of every sheet, in their frame."""
    listed = "".join(f"<li><b>{safe(c.word)}.</b> {safe(c.says)}</li>" for c in words.cautions)
    return Html(
        f'<section class="cautions" id="cautions" aria-labelledby="cautions-title">'
        f'<h2 id="cautions-title">{words.html("cautions.title")}</h2>'
        f"<ul>{listed}</ul>{paragraph(words('page.certifies'))}</section>\n"
    )


def installation(material: Material, words: Catalogue) -> Part:
    """What the installation is, in sentences."""
    return Part("installation", words("installation.title"), _chapters(words, material.scheme, FIRST))


def more(material: Material, words: Catalogue) -> Part:
    """The parts one by one, in sentences."""
    return Part("parts", words("more.title"), _chapters(words, material.scheme, LATER))


def _chapters(words: Catalogue, scheme: Scheme, sections: tuple[Section, ...]) -> Html:
    return joined(_chapter(words, chapter) for chapter in chapters(scheme, sections))


def chapters(scheme: Scheme, sections: Iterable[Section]) -> list[Chapter]:
    """Those of these chapters of the explanation that the scheme has."""
    found: dict[Section, Chapter] = {chapter.section: chapter for chapter in document(scheme).chapters}
    return [found[section] for section in sections if section in found]


def _chapter(words: Catalogue, chapter: Chapter) -> Html:
    title = element("h3", text(words.phrases[TITLES[chapter.section]]))
    return joined([title, *(item_html(words, item) for item in chapter.items)])


def item_html(words: Catalogue, item: Item, heading: str = "h4") -> Html:
    """One thing explained: its name (in no heading where `heading` is ""), its sentences, its points."""
    named = text(item.heading, words.phrases)
    return joined(
        [
            element(heading, named) if heading and named else Html(""),
            paragraph(" ".join(sentence(s, words.phrases) for s in item.sentences)),
            items(sentence(p, words.phrases) for p in item.points),
        ]
    )


def maps(material: Material, words: Catalogue) -> Part:
    """The permit maps."""
    found = material.drawings.get(DrawingKind.PERMIT, ())
    body = [paragraph(words("maps.says")), *_sheets(words, found)] if found else [paragraph(words("maps.none"))]
    return Part("maps", words("maps.title"), joined(body), "sheets" if found else "")


def drawings(material: Material, words: Catalogue) -> Part:
    """The drawings of the whole installation."""
    shown = []
    for kind in (DrawingKind.OVERVIEW, DrawingKind.WIRING, DrawingKind.MATRIX, DrawingKind.LADDER):
        found = material.drawings.get(kind, ())
        if not found:
            continue
        title = element("h3", words(f"drawings.{kind}_title"), 'class="screen"')
        shown += [title, paragraph(words(f"drawings.{kind}"), "screen")]
        shown += _sheets(words, found)
    return Part("drawings", words("drawings.title"), joined(shown), "sheets")


def _sheets(words: Catalogue, found: Iterable[Drawing]) -> Iterator[Html]:
    """Drawings, those of one title as sheets of one."""
    alike: dict[str, list[Drawing]] = {}
    for drawing in found:
        alike.setdefault(drawing.title, []).append(drawing)
    for sheets in alike.values():
        yield figures(words, sheets)
