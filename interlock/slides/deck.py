"""The handbook's drawings and sentences on slides."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from interlock.draw.everything import DrawingKind
from interlock.draw.machine import arrows_of
from interlock.draw.page import Drawing
from interlock.draw.words import STATE_WORDS
from interlock.exercises.records import Kind, Question
from interlock.exercises.tell import Tell
from interlock.explain.claims import cases as cases_told
from interlock.explain.claims import requirements
from interlock.explain.closed import Section
from interlock.explain.document import Item
from interlock.explain.failure_modes import failure_modes
from interlock.explain.phrases import sentence, text
from interlock.explain.rules import rules as rules_told
from interlock.explain.tables import TITLES
from interlock.handbook.card import CALLS, NEVER, stops
from interlock.handbook.cases import failures, sheet_of
from interlock.handbook.claims import HEADS, unprotected_words, verdict_words
from interlock.handbook.faults import class_words, single_words, singles
from interlock.handbook.glossary import used
from interlock.handbook.html import plain
from interlock.handbook.installation import FIRST, LATER, chapters, missing_words, short_words
from interlock.handbook.material import Material
from interlock.handbook.page import SHORT
from interlock.handbook.rules import numbers
from interlock.handbook.words import Catalogue
from interlock.scheme.model import Rule
from interlock.slides.flow import Deck, Names
from interlock.slides.odp import Para

LISTED = 14  # faults on a slide that names them only
GAP = 9.0  # points between paragraphs
WIDTHS = (292.0, 112.0, 142.0, 108.0, 234.0)  # of the columns of verdicts


def deck(material: Material, words: Catalogue, tell: Tell, asked: Sequence[Question]) -> bytes:
    """The whole deck as its file's bytes. The drawings of `material` are laid out for `flow.PAPER`."""
    with words.drawn():
        return _deck(material, words, tell, asked)


def _deck(material: Material, words: Catalogue, tell: Tell, asked: Sequence[Question]) -> bytes:
    scheme = material.scheme
    made = Deck(
        Names(
            next=lambda title, number, count: words("slides.next", title=title, number=number, count=count),
            part=lambda title, number, count: words("slides.part", title=title, number=number, count=count),
        )
    )
    _beginning(made, material, words)
    _drawings(made, material, words)
    _maps(made, material, words)
    _rules(made, material, words)
    _claims(made, material, words)
    _faults(made, material, words)
    _cases(made, material, words)
    _questions(made, tell, asked, words)
    _parts(made, material, words)
    _card(made, material, words)
    _glossary(made, words)
    revision = words("page.foot_revision", revision=scheme.revision) if scheme.revision else ""
    foot = words("page.foot", scheme=scheme.title, revision=revision, digest=material.digest[:SHORT])
    return made.packed(words("page.title", scheme=scheme.title), words.language, f"{foot} {words('slides.certifies')}")


def _beginning(made: Deck, material: Material, words: Catalogue) -> None:
    scheme = material.scheme
    first = [
        Para(words("page.revision", revision=scheme.revision)) if scheme.revision else Para(""),
        Para(words("page.digest", digest=material.digest[:SHORT])),
        Para(words("slides.certifies"), bold=True, space=GAP),
        Para(words("slides.first"), space=GAP),
    ]
    made.text(
        words("page.title", scheme=scheme.title), [para for para in first if para.text], [words("slides.how_to_edit")]
    )
    cautions = [Para(caution.says, lead=f"{caution.word}.", bullet=True, space=GAP / 2) for caution in words.cautions]
    made.text(words("cautions.title"), cautions, [words("slides.certifies")])
    missing = list(missing_words(material, words))
    short = [*_points(short_words(material, words))]
    if missing:
        short += [Para(words("slides.missing"), bold=True, space=GAP), *_points(missing)]
    example = next(iter(scheme.rules), next(iter(scheme.paths), ""))
    made.text(words("about.title"), short, [words("about.reads", example=example)])
    _chapters(made, material, words, FIRST)


def _chapters(made: Deck, material: Material, words: Catalogue, sections: Iterable[Section]) -> None:
    """A chapter's items one below the other, on as many slides as they take."""
    for chapter in chapters(material.scheme, tuple(sections)):
        paras = [para for item in chapter.items for para in _item(item, words)]
        made.text(text(words.phrases[TITLES[chapter.section]]), paras)


def _item(item: Item, words: Catalogue) -> Iterator[Para]:
    named = text(item.heading, words.phrases)
    if named:
        yield Para(named, bold=True, space=GAP)
    said = " ".join(sentence(s, words.phrases) for s in item.sentences)
    if said:
        yield Para(said)
    yield from _points(sentence(p, words.phrases) for p in item.points)


def _points(texts: Iterable[str]) -> list[Para]:
    return [Para(said, bullet=True, space=GAP / 3) for said in texts]


def _drawings(made: Deck, material: Material, words: Catalogue) -> None:
    kinds = [
        kind
        for kind in (DrawingKind.OVERVIEW, DrawingKind.WIRING, DrawingKind.MATRIX, DrawingKind.LADDER)
        if material.drawings.get(kind)
    ]
    intro = [
        Para(words(f"drawings.{kind}"), lead=f"{words(f'drawings.{kind}_title')}.", bullet=True, space=GAP)
        for kind in kinds
    ]
    made.text(words("drawings.title"), intro)
    for kind in kinds:
        _sheets(made, material.drawings[kind], words)


def _sheets(made: Deck, drawings: Iterable[Drawing], words: Catalogue) -> None:
    """Drawings, those of one title as sheets of one."""
    for title, group in groupby(drawings, key=lambda drawing: drawing.title):
        sheets = list(group)
        for number, drawing in enumerate(sheets, 1):
            name = words("slides.sheet", title=title, sheet=number, sheets=len(sheets)) if len(sheets) > 1 else title
            made.drawing(name, drawing)


def _maps(made: Deck, material: Material, words: Catalogue) -> None:
    found = material.drawings.get(DrawingKind.PERMIT, ())
    made.text(words("maps.title"), [Para(words("maps.says" if found else "maps.none"))])
    _sheets(made, found, words)


def _rules(made: Deck, material: Material, words: Catalogue) -> None:
    """Each rule: its sentences and numbers, then its machine with the transitions in words."""
    machines = {d.name: d for d in material.drawings.get(DrawingKind.MACHINE, ())}
    told = {item.name: item for item in rules_told(material.scheme)}
    made.text(words("rules.title"), [Para(words("rules.says"))])
    for rule in material.scheme.rules.values():
        item = told[rule.name]
        heading = text(item.heading, words.phrases)
        listed = [
            Para(value, lead=f"{name}:", bullet=True, space=GAP / 3)
            for name, value in numbers(material.scheme, rule, words)
        ]
        made.text(
            heading,
            [Para(" ".join(sentence(s, words.phrases) for s in item.sentences)), *listed],
            [rule.why] * bool(rule.why),
        )
        machine = machines.get(f"machine_{rule.name}")
        if machine:
            title = words("slides.machine", rule=rule.name)
            below = made.drawing(title, machine, whole=True)
            made.text(title, _transitions(material, rule, words), below=below + GAP)


def _transitions(material: Material, rule: Rule, words: Catalogue) -> list[Para]:
    return _points(
        words("slides.transition", source=STATE_WORDS[a.source](), target=STATE_WORDS[a.target](), when=a.words)
        for a in arrows_of(material.scheme, rule)
    )


def _claims(made: Deck, material: Material, words: Catalogue) -> None:
    scheme = material.scheme
    intro = [Para(words("claims.says"))]
    if material.assumed:
        intro += [Para(words("claims.assumed"), bold=True, space=GAP), *_points(material.assumed)]
    made.text(words("claims.title"), intro)
    for item in requirements(scheme):
        title = text(item.heading, words.phrases)
        end = made.text(title, [p for p in _item(item, words) if not p.bold or p.text != title])
        own = [claim for claim in scheme.claims if claim.requirement == item.name]
        rows = [verdict_words(scheme, words, claim, material.verdicts.get(claim.name)) for claim in own]
        made.table(title, [words(f"claims.{key}") for key in HEADS], rows, WIDTHS, end + GAP)
        for claim in own:
            if claim.name in material.stories:
                said = [Para(words("claims.story"), bold=True), *_points(material.stories[claim.name])]
                made.text(claim.name, said)
    if unprotected := unprotected_words(scheme, words):
        made.text(words("slides.unprotected"), _points(unprotected))


def _faults(made: Deck, material: Material, words: Catalogue) -> None:
    study = material.study
    if study is None:
        made.text(words("faults.title"), [Para(words("faults.left_out"), bold=True)])
        return
    scheme = material.scheme
    rows = failure_modes(scheme, study)
    intro = [Para(words("faults.says"))]
    if study.interrupted:
        intro.append(Para(words("faults.incomplete"), bold=True, space=GAP))
    intro += [Para(words("faults.classes"), space=GAP), *_points(class_words(rows, words))]
    made.text(words("faults.title"), intro, [words("slides.all_faults")])
    found = singles(scheme, study, words, installed=False)
    said = [Para(words("faults.singles_says" if found else "faults.no_singles"))]
    for effect, harm in found:
        said.append(Para(effect.fault, bold=True, space=GAP))
        said.append(Para(" ".join(single_words(scheme, study, effect, harm, words)).replace("`", "")))
    made.text(words("faults.singles"), said)
    mistakes = singles(scheme, study, words, installed=True)
    intro = [Para(words("faults.mistakes_says" if mistakes else "faults.no_mistakes"))]
    made.text(words("faults.mistakes"), intro, [words("slides.mistakes")] * bool(mistakes))
    slides = [mistakes[i : i + LISTED] for i in range(0, len(mistakes), LISTED)]
    for number, part in enumerate(slides, 1):
        title = words("slides.next", title=words("faults.mistakes"), number=number, count=len(slides))
        notes = [f"{effect.fault}: {harm}." for effect, harm in part]
        made.text(title, _points(effect.fault for effect, _ in part), notes)


def _cases(made: Deck, material: Material, words: Catalogue) -> None:
    """Each case as its drawing, its steps in the notes."""
    sheets = material.drawings.get(DrawingKind.CASE, ())
    made.text(words("cases.title"), [Para(words("cases.says"))])
    for number, (item, result) in enumerate(zip(cases_told(material.scheme), material.cases, strict=True), 1):
        notes = [para.text for para in _item(item, words) if not para.bold]
        notes.insert(0, words("cases.passes" if result.passed else "cases.fails"))
        own = [drawing for drawing in sheets if sheet_of(drawing.name, number)]
        if not result.passed:
            failed = [Para(words("cases.fails"), bold=True), *_points(failures(result, words))]
            made.text(result.name, failed, notes)
        elif not own:
            made.text(result.name, [Para(words("cases.passes"))], notes)
        for sheet, drawing in enumerate(own, 1):
            name = result.name
            if len(own) > 1:
                name = words("slides.sheet", title=name, sheet=sheet, sheets=len(own))
            made.drawing(name, drawing, notes if sheet == 1 else ())


def _questions(made: Deck, tell: Tell, asked: Sequence[Question], words: Catalogue) -> None:
    """A question on a slide, its answer with the reasons on the next."""
    if not asked:
        made.text(words("exercises.title"), [Para(words("exercises.none"))])
        return
    rest = [Para(words("exercises.at_rest"), space=GAP), *_points(tell.at_rest())]
    made.text(words("exercises.title"), [Para(words("exercises.intro_paper")), *rest], [words("exercises.caution")])
    for number, question in enumerate(asked, 1):
        made.text(words("slides.question", number=number), list(_question(tell, question, words)))
        answer = [Para(said, bold=True) for said in tell.answers(question)]
        made.text(words("slides.answer", number=number), [*answer, *_points(tell.reasons(question))])


def _question(tell: Tell, question: Question, words: Catalogue) -> Iterator[Para]:
    if question.kind is Kind.WHICH_FAULT:
        yield Para(words("exercises.fault_planted"))
    acts = tell.acts(question)
    for number, act in enumerate(acts, 1):
        yield Para(act, lead=f"{number}.", space=GAP / 3)
    if not acts:
        yield Para(words("exercises.nothing_done"))
    if question.kind is Kind.WHICH_FAULT:
        yield Para(words("exercises.seen"), space=GAP)
        for after, lines in tell.seen(question):
            yield Para("; ".join(lines), lead=after, bullet=True)
    yield Para(tell.asks(question), bold=True, space=GAP)
    if question.kind is not Kind.FIND_SETTING:
        yield from _points(tell.offered(question))


def _parts(made: Deck, material: Material, words: Catalogue) -> None:
    if chapters(material.scheme, LATER):
        made.text(words("more.title"), [Para(words("slides.parts"))])
        _chapters(made, material, words, LATER)


def _card(made: Deck, material: Material, words: Catalogue) -> None:
    paras = [Para(words("card.says"))]
    for stop in stops(material.scheme, words):
        paras.append(Para(f"{stop.means} {stop.said(why=True)}", lead=f"{stop.name}:", bullet=True, space=GAP))
    made.text(words("card.title", scheme=material.scheme.title), paras)
    never = [*_points(words(f"card.{key}") for key in NEVER), Para(words("card.call"), bold=True, space=GAP)]
    made.text(words("card.never"), [*never, *_points(words(f"card.{key}") for key in CALLS)])


def _glossary(made: Deck, words: Catalogue) -> None:
    said = [plain(f"{slide.title} {slide.said}") for slide in made.slides]
    terms = [Para(term.means, lead=f"{term.name}:", space=GAP) for term in used(words, said)]
    if terms:
        made.text(words("terms.title"), terms)
