"""The bench and the questions: as parts of the handbook, and each as a page by itself."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.bench.section import IDENT, section
from interlock.exercises.markup import on_page, on_paper
from interlock.exercises.questions import questions
from interlock.exercises.records import Question
from interlock.exercises.scene import Scene
from interlock.exercises.style import PAPER
from interlock.exercises.style import STYLE as QUESTIONS
from interlock.exercises.tell import Tell
from interlock.handbook.frame import document
from interlock.handbook.html import Html, Part, element, joined, paragraph
from interlock.handbook.page import Live, live_page
from interlock.handbook.style import STYLE
from interlock.handbook.words import Catalogue
from interlock.scheme.model import Scheme
from interlock.sheet.style import css_string


def bench(scheme: Scheme, words: Catalogue, *, portable: bool = False) -> Live:
    """The bench of a scheme. Raises TooWideError, and NoRendererError where a drawing can't be laid out."""
    with words.drawn():
        made = section(scheme, words.under(IDENT), words.phrases, portable=portable)
    return Live(Part(IDENT, made.title, Html(made.html), kind=IDENT), made.style, made.script, made.data, made.links)


EXERCISES = "exercises"
SEEDS = (1, 2, 3, 4)  # of the sets of questions on the page


def exercises(scheme: Scheme, words: Catalogue, seeds: Sequence[int] = SEEDS) -> Live:
    """Sets of questions about the scheme, each answer in a fold. Raises TooWideError."""
    scene = Scene(scheme, words.under(IDENT))
    tell = Tell(scene, words.under(EXERCISES), words.phrases)
    body = (
        on_page(tell, {seed: questions(scene, seed) for seed in seeds})
        + f"<p>{words.html('exercises.other_set')}</p>\n"
    )
    return Live(Part(EXERCISES, words("exercises.title"), Html(body)), QUESTIONS)


def exercise_set(scene: Scene, asked: Sequence[Question], seed: int, words: Catalogue) -> str:
    """A printable set of questions with a sheet of answers of its own. Raises TooWideError."""
    title = scene.scheme.title
    sheets = on_paper(Tell(scene, words.under(EXERCISES), words.phrases), asked)
    told = words("exercises.set", seed=seed, count=len(asked))
    body = joined(
        [
            Html("<main>\n"),
            element("h1", words("exercises.sheet_questions", scheme=title)),
            paragraph(told, "small"),
            paragraph(words("exercises.caution"), "warning"),
            Html(sheets[0]),
            Html(f'<section class="answers">\n<h1>{words.html("exercises.sheet_answers", scheme=title)}</h1>\n'),
            paragraph(told, "small"),
            Html(f"{sheets[1]}</section>\n</main>\n"),
        ]
    )
    style = STYLE.replace("FOOT", css_string(f"{title}, {told}. {words('exercises.certifies')}")) + QUESTIONS + PAPER
    return document(words, words("exercises.sheet_questions", scheme=title), style, body)


def bench_page(scheme: Scheme, words: Catalogue, *, portable: bool = False) -> str:
    """The bench and one set of questions alone, as one self-contained page. Raises as `bench` does."""
    return live_page(
        words, scheme.title, [bench(scheme, words, portable=portable), exercises(scheme, words, SEEDS[:1])]
    )
