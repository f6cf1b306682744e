"""The words of page, drawings, card, deck and questions: one YAML file a language, held against the English ones. In
English `words/en.yaml` has the page's own; the sentences of `explain`, the cautions of every sheet and what stands on
drawings stand where they are made, and join them under `explain`, `cautions` and `on_drawings`.

A catalogue is a tree of texts whose names are joined by dots (`faults.title`); fields in braces are filled in. Under
`on_drawings` the English texts themselves are the names. Under `glossary` stand the trade's terms: each with the words
by which it is found on the page, and what it means.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from functools import cache, cached_property
from html import escape
from importlib.resources import files
from string import Formatter
from typing import Any

import yaml

from interlock.draw.said import drawn_in
from interlock.draw.said import texts as texts_of_drawings
from interlock.explain.template import Template
from interlock.explain.words import ENGLISH as SENTENCES
from interlock.explain.words import TEMPLATES
from interlock.sheet.cautions import CAUTIONS, Caution

ENGLISH = "en"
_EXPLAIN, _CAUTIONS = "explain", "cautions"
_HEAD = """# Every word of handbook, drawings, card, deck and questions that is not the scheme's own.
# Keep the names on the left and the fields in braces, translate what stands on the right; spaces at the ends of a text
# in quotes count. `found_as`: the lower-case words by which a term is found on the page; with * a word's beginning.
# `on_drawings`, at the end: above, the English text as it is, below it what a drawing is to say in its place.
"""
_DRAWN = "on_drawings"
_GLOSSARY, _NAME, _FOUND, _MEANS = "glossary", "term", "found_as", "means"


class WordsError(Exception):
    """A catalogue that can't be used; the message says for people what is wrong with it, a line for each fault."""


@dataclass(frozen=True, slots=True)
class Term:
    """A term of the trade: `found`, the lower-case words by which the page uses it (a word's beginning where it ends
    in `*`), and what it means."""

    name: str
    found: tuple[str, ...]
    means: str

    def used_in(self, text: str) -> bool:
        """Whether one of its words stands in a lower-case text."""
        return any(_pattern(word).search(text) for word in self.found)


@cache
def _pattern(word: str) -> re.Pattern[str]:
    begins = word.endswith("*")
    return re.compile(rf"(?<!\w){re.escape(word.removesuffix('*'))}" + ("" if begins else r"(?!\w)"))


@dataclass(frozen=True)
class Catalogue:
    """The words of one language. Calling it gives a text as plain text, `html` the same escaped. `on_drawings`: what
    drawings say, by the English text; those that are said in English are left out."""

    language: str
    texts: Mapping[str, str]
    terms: tuple[Term, ...]
    on_drawings: Mapping[str, str] = field(default_factory=dict)

    def __call__(self, key: str, /, **fields: object) -> str:
        """A text with its fields filled. Raises KeyError where there is no such text or a field is missing."""
        return self.texts[key].format(**fields) if fields else self.texts[key]

    def html(self, key: str, /, **fields: object) -> str:
        """The same, its fields included, as text inside HTML."""
        return escape(self(key, **fields))

    def drawn(self) -> AbstractContextManager[None]:
        """What is drawn inside it, and the conditions that are told inside it, are in this language."""
        return drawn_in(self.on_drawings)

    @cached_property
    def phrases(self) -> Mapping[Template, str]:
        """The sentences of `explain`."""
        return {key: self.texts[f"{_EXPLAIN}.{key.name.lower()}"] for key in TEMPLATES}

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """The cautions that stand first."""
        return tuple(
            Caution(self(f"{_CAUTIONS}.{_slug(c)}.word"), self(f"{_CAUTIONS}.{_slug(c)}.says")) for c in CAUTIONS
        )

    def under(self, name: str) -> dict[str, str]:
        """All texts whose names begin with `NAME.`, by the rest of their names."""
        return {key.removeprefix(f"{name}."): said for key, said in self.texts.items() if key.startswith(f"{name}.")}

    def count(self, key: str, number: int, **fields: object) -> str:
        """A text that has `one` and `many` forms under its key."""
        return self(f"{key}.{'one' if number == 1 else 'many'}", count=number, **fields)


@cache
def english() -> Catalogue:
    """The catalogue that comes along, joined from where its words stand."""
    own = read(_shipped(ENGLISH))
    joined = dict(own.texts)
    for caution in CAUTIONS:
        joined[f"{_CAUTIONS}.{_slug(caution)}.word"] = caution.word
        joined[f"{_CAUTIONS}.{_slug(caution)}.says"] = caution.says
    joined |= {f"{_EXPLAIN}.{key.name.lower()}": said for key, said in SENTENCES.items()}
    return Catalogue(own.language, joined, own.terms)


def _slug(caution: Caution) -> str:
    return re.sub(r"[^a-z]+", "_", caution.word.lower())


def whole(words: Catalogue) -> str:
    """A catalogue as a file's text, to be translated."""
    tree: dict[str, Any] = {"language": words.language}
    for key, said in words.texts.items():
        *places, name = key.split(".")
        at = tree
        for place in places:
            at = at.setdefault(place, {})
        at[name] = said
    tree[_GLOSSARY] = [{_NAME: t.name, _FOUND: list(t.found), _MEANS: t.means} for t in words.terms]
    return _HEAD + yaml.safe_dump(tree, sort_keys=False, allow_unicode=True, width=110) + _drawings_text(words)


def _drawings_text(words: Catalogue) -> str:
    """The section of drawings: each translation in the line below its English text, which can be long for a name."""
    lines = [f"{_DRAWN}:\n"]
    for text in texts_of_drawings():
        lines.append(f"  {_quoted(text)}:\n    {_quoted(words.on_drawings.get(text, text))}\n")
    return "".join(lines)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)  # JSON's strings are YAML's as well


def languages() -> tuple[str, ...]:
    """The languages that come along."""
    folder = files("interlock") / "handbook" / "words"
    return tuple(sorted(f.name.removesuffix(".yaml") for f in folder.iterdir() if f.name.endswith(".yaml")))


def of_language(language: str) -> Catalogue:
    """A catalogue that comes along. Raises WordsError where it is not whole."""
    return english() if language == ENGLISH else read(_shipped(language), english())


def _shipped(language: str) -> str:
    return (files("interlock") / "handbook" / "words" / f"{language}.yaml").read_text(encoding="utf-8")


def read(text: str, like: Catalogue | None = None) -> Catalogue:
    """A catalogue from its file's text; `like`: one that it must have the same texts and fields as. Raises
    WordsError."""
    try:
        tree = yaml.safe_load(text)
    except yaml.YAMLError as error:
        raise WordsError(f"it is not YAML: {' '.join(str(error).split())}") from error
    if not isinstance(tree, dict) or not isinstance(tree.get("language"), str):
        raise WordsError("expected a mapping that begins with `language: de`, as words/en.yaml does")
    language = tree.pop("language")
    terms = tuple(_terms(tree.pop(_GLOSSARY, None)))
    drawn = _on_drawings(tree.pop(_DRAWN, {}))
    texts = dict(_texts("", tree))
    if like is not None:
        wrong = [f"`{key}` is missing" for key in like.texts if key not in texts]
        wrong += [f"`{key}` is no text of the page" for key in texts if key not in like.texts]
        wrong += [
            f"`{key}` has the fields {sorted(_fields(texts[key]))}, expected {sorted(_fields(said))}"
            for key, said in like.texts.items()
            if key in texts and _fields(texts[key]) != _fields(said)
        ]
        wrong += _wrong_on_drawings(drawn)
        if wrong:
            raise WordsError("\n".join(wrong))
    return Catalogue(language, texts, terms, {text: said for text, said in drawn.items() if said != text})


def _on_drawings(tree: Any) -> dict[str, str]:
    if not isinstance(tree, dict):
        raise WordsError(f"expected the texts of drawings under `{_DRAWN}`, each English text with its translation")
    for text, said in tree.items():
        if not isinstance(text, str) or not isinstance(said, str):
            raise WordsError(f"`{_DRAWN}`: `{text}` or what stands for it is no text: put quotes around both")
        _fields(said)
    return tree


def _wrong_on_drawings(drawn: Mapping[str, str]) -> list[str]:
    """What is wrong with the texts of drawings, a line for each fault."""
    known = texts_of_drawings()
    wrong = [f"`{_DRAWN}`: `{text}` is missing" for text in known if text not in drawn]
    wrong += [f"`{_DRAWN}`: `{text}` is no text of a drawing" for text in drawn if text not in known]
    return wrong + [
        f"`{_DRAWN}`: what stands for `{text}` has the fields {sorted(_fields(drawn[text]))}, expected "
        f"{sorted(_fields(text))}"
        for text in known
        if text in drawn and _fields(drawn[text]) != _fields(text)
    ]


def _texts(prefix: str, tree: Mapping[Any, Any]) -> Iterator[tuple[str, str]]:
    for name, value in tree.items():
        if isinstance(value, dict):
            yield from _texts(f"{prefix}{name}.", value)
        elif isinstance(value, str):
            _fields(value)
            yield f"{prefix}{name}", value if prefix == f"{_EXPLAIN}." else " ".join(value.split())
        else:
            raise WordsError(f"`{prefix}{name}` is no text: put quotes around it")


def _fields(text: str) -> set[str]:
    try:
        return {name for _, name, _, _ in Formatter().parse(text) if name is not None}
    except ValueError as error:
        raise WordsError(f"a brace stands alone in `{text[:60]}`: {error}") from error


def _terms(listed: Any) -> Iterator[Term]:
    if not isinstance(listed, list):
        raise WordsError("expected a list of terms under `glossary`")
    for one in listed:
        if not isinstance(one, dict) or set(one) != {_NAME, _FOUND, _MEANS} or not isinstance(one[_FOUND], list):
            raise WordsError(f"expected `{_NAME}`, `{_FOUND}` (a list) and `{_MEANS}` for each term, found {one!r}")
        yield Term(str(one[_NAME]), tuple(str(w).lower() for w in one[_FOUND]), " ".join(str(one[_MEANS]).split()))
