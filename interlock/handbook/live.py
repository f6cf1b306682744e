"""What moves on the page: the bench, as a part of the handbook and as a page by itself."""

from __future__ import annotations

from interlock.bench.section import IDENT, section
from interlock.handbook.html import Html, Part
from interlock.handbook.page import Live, live_page
from interlock.handbook.words import Catalogue
from interlock.scheme.model import Scheme


def bench(scheme: Scheme, words: Catalogue, *, portable: bool = False) -> Live:
    """The bench of a scheme. Raises TooWideError, and NoRendererError where a drawing can't be laid out."""
    made = section(scheme, words.under(IDENT), portable=portable)
    return Live(Part(IDENT, made.title, Html(made.html), kind=IDENT), made.style, made.script, made.data)


def bench_page(scheme: Scheme, words: Catalogue, *, portable: bool = False) -> str:
    """The bench alone, as one self-contained page. Raises as `bench` does."""
    return live_page(words, scheme.title, [bench(scheme, words, portable=portable)])
