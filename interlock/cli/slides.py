"""`interlock slides`."""

from __future__ import annotations

from pathlib import Path

from interlock.bench.section import IDENT
from interlock.cli.material import Kind, Wanted, written
from interlock.exercises.questions import questions
from interlock.exercises.scene import Scene
from interlock.exercises.tell import Tell
from interlock.handbook.live import EXERCISES
from interlock.handbook.material import Material
from interlock.handbook.words import Catalogue
from interlock.records import replace
from interlock.slides.deck import deck
from interlock.slides.flow import PAPER

OF_DECK = Kind(
    ".odp",
    "an OpenDocument presentation, every text and drawing on it to be edited",
    "the deck is written and says what is missing on it",
    "the deck says",
)


def slides(file: Path, out: Path, wanted: Wanted, *, seed: int, language: str, as_json: bool) -> int:
    """Work everything out, then write the deck, whole or not at all. What was interrupted is said to be missing."""

    def made(material: Material, words: Catalogue) -> bytes:
        scene = Scene(material.scheme, words.under(IDENT))
        return deck(material, words, Tell(scene, words.under(EXERCISES), words.phrases), questions(scene, seed))

    wanted = replace(wanted, paper=PAPER)
    return written(file, out, OF_DECK, wanted, made, language=language, as_json=as_json)
