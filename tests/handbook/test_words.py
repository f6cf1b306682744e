"""All words of the page's own stand in one catalogue; another language is one file more."""

from __future__ import annotations

import ast
import re
from html import unescape
from pathlib import Path

import pytest
import yaml

import interlock.handbook
import interlock.slides
from interlock.cli.study_file import file_digest, read_study
from interlock.explain.failure_modes import Column, failure_modes
from interlock.explain.failure_table import cell, counts
from interlock.explain.injection import harm
from interlock.explain.phrases import sentence, text
from interlock.explain.sentences import document
from interlock.explain.tables import TITLES
from interlock.explain.words import ENGLISH, TEMPLATES
from interlock.handbook.glossary import used
from interlock.handbook.html import Html
from interlock.handbook.material import Material
from interlock.handbook.page import handbook_page
from interlock.handbook.words import Catalogue, Term, WordsError, english, languages, of_language, read, whole
from interlock.logic.cases import run_cases
from interlock.logic.why import WORDS
from interlock.proof.cores import proved
from interlock.scheme.read import load
from interlock.scheme.words import State
from interlock.sheet.cautions import CAUTIONS, NO_CERTIFICATE
from tests.handbook.pages import ROOT

FOLDER = Path(interlock.handbook.__file__).parent
SLIDES = Path(interlock.slides.__file__).parent
MOVING = ("bench", "exercises")  # parts with packages and tests of their own
SHIPPED = (FOLDER / "words" / "en.yaml").read_text(encoding="utf-8")


def keys_in_code() -> set[str]:
    """Every text of the two packages that looks like a key of the catalogue, whole or with a part filled in (`*`)."""
    found = set()
    for path in (*FOLDER.glob("*.py"), *SLIDES.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(node.value)
            elif isinstance(node, ast.JoinedStr):
                parts = [str(p.value) if isinstance(p, ast.Constant) else "*" for p in node.values]
                found.add("".join(parts))
    heads = {key.split(".")[0] for key in english().texts}.difference(MOVING)
    return {
        f for f in found if re.fullmatch(r"[a-z_]+(\.[a-z_*0-9]+)+", f) and f.split(".")[0] in heads and f[-1] != "_"
    }


def test_every_text_of_the_catalogue_is_used_and_every_text_used_is_there() -> None:
    asked = keys_in_code()
    own = {re.sub(r"\.(one|many)$", "", key) for key in read(SHIPPED).texts if key.split(".")[0] not in MOVING}
    entire = {key for key in asked if "*" not in key}
    filled = [re.compile(re.escape(key).replace(r"\*", "[a-z_0-9]+")) for key in asked - entire]
    assert sorted(key for key in own - entire if not any(p.fullmatch(key) for p in filled)) == []
    assert sorted(entire - own) == []
    assert [p.pattern for p in filled if not any(p.fullmatch(key) for key in own)] == []


def marked() -> Catalogue:
    """The catalogue with every text between brackets, so that they can be told from all others."""
    own = english()
    texts = {key: f"⟦{said}⟧" for key, said in own.texts.items()}
    return Catalogue("qaa", texts, tuple(Term(f"⟦{t.name}⟧", t.found, f"⟦{t.means}⟧") for t in own.terms))


def test_each_word_on_the_page_is_the_catalogues_the_schemes_or_a_sentence_of_explain() -> None:
    """The hut's page in a made-up language: what is left outside its brackets has to come from elsewhere."""
    file = ROOT / "rules" / "alpine_hut.yaml"
    scheme = load(file)
    digest = file_digest(file)
    study = read_study(ROOT / "diagrams" / "studies" / "alpine_hut.json", scheme, digest)
    verdicts = {v.claim.name: v for v in proved(scheme, scheme.claims)}
    page = handbook_page(Material(scheme, digest, verdicts, study, run_cases(scheme), {}), marked())
    assert '<html lang="qaa">' in page
    body = re.sub(r"<(svg|style|script|title)\b.*?</\1>", " ", page, flags=re.S)
    body = unescape(re.sub(r"<wbr>", "", body))
    body = re.sub(r"</?b>", "", body)
    while "⟦" in body:  # brackets within brackets: from the inside
        cleaned = re.sub(r"⟦[^⟦⟧]*⟧", " ", body)
        assert cleaned != body
        body = cleaned
    left = {" ".join(piece.split()) for piece in re.split(r"<[^>]*>", body)}
    known = known_sentences(scheme, study)
    strange = sorted(piece for piece in left if re.search(r"[a-z]{3}", piece) and not explained(piece, known))
    assert strange == []


def known_sentences(scheme: object, study: object) -> set[str]:
    from interlock.faults.inject import Study
    from interlock.scheme.model import Scheme

    assert isinstance(scheme, Scheme)
    assert isinstance(study, Study)
    known = {text(ENGLISH[t]) for t in TITLES.values()} | {key.value for key in TEMPLATES}
    for chapter in document(scheme).chapters:
        for item in chapter.items:
            known |= {text(item.heading), " ".join(sentence(s) for s in item.sentences)}
            known |= {sentence(p) for p in item.points} | {f"{item.name}: {' '.join(map(sentence, item.sentences))}"}
    rows = failure_modes(scheme, study)
    known |= {" ".join(cell(row, column).split()) for row in rows for column in Column}
    known |= {f"{word} ({n})" + (f": {means}" if means else "") for word, n, means in counts(rows)}
    known |= {f"{harm(scheme, e, set())}." for e in study.effects}
    known |= {f"{c.word}." for c in CAUTIONS} | {c.says for c in CAUTIONS} | {f"{c.word}. {c.says}" for c in CAUTIONS}
    return known | {NO_CERTIFICATE, scheme.title} | {case.name for case in scheme.cases}


def explained(piece: str, known: set[str]) -> bool:
    """Whether a text is a known one, or nothing but names, values and what a condition asks."""
    if piece in known or any(
        (len(k) > 20 and piece.endswith(k)) or (len(piece) > 20 and k.startswith(piece)) for k in known
    ):
        return True
    rest = re.sub(r"[a-z_0-9K]+(~[a-z_0-9K]+)?[./][a-z_0-9]+|\b\w*_\w*\b", " ", piece)
    rest = re.sub(
        r"\b(above|below|at or|on|off|active|clear|running|stopped|for|degC|min|ms|shunt|inverter)\b", " ", rest
    )
    return not re.search(r"[A-Za-z]{2}", rest) or any(rest.strip() and rest.strip(" .:;,") in k for k in known)


def test_a_language_is_one_file_with_the_same_texts() -> None:
    """Every catalogue that comes along is whole; one that is not is told what is wrong, all of it at once."""
    assert "en" in languages()
    for language in languages():
        assert of_language(language).language == language
    tree = yaml.safe_load(whole(english()))
    tree["language"] = "de"
    del tree["page"]["skip"]
    del tree["explain"]["why"]
    del tree["cautions"]["gas"]["word"]
    tree["page"]["title"] = "Handbuch"
    tree["page"]["more"] = "mehr"
    with pytest.raises(WordsError) as caught:
        read(yaml.safe_dump(tree), english())
    said = str(caught.value).splitlines()
    assert said == [
        "`page.skip` is missing",
        "`cautions.gas.word` is missing",
        "`explain.why` is missing",
        "`page.more` is no text of the page",
        "`page.title` has the fields [], expected ['scheme']",
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "expected a mapping"),
        ("language: [", "not YAML"),
        ("language: de\npage: {title: 3}\nglossary: []", "`page.title` is no text"),
        ("language: de\npage: {title: 'a {b'}\nglossary: []", "brace"),
        ("language: de\npage: {title: a}", "list of terms"),
        ("language: de\nglossary: [{term: a}]", "`found_as`"),
    ],
)
def test_a_catalogue_that_cannot_be_used_is_refused_in_words(text: str, says: str) -> None:
    with pytest.raises(WordsError, match=re.escape(says)):
        read(text, None)


def test_the_words_of_reasons_are_the_same_wherever_they_are_said() -> None:
    """The bench in the page and the questions say the catalogue's, the command line its own: but for the names of
    states, which a terminal shows as the scheme has them, they are alike."""
    told = english().under("bench")
    assert {key for key in WORDS if not key.startswith("state_")} <= set(told)
    assert {k: v for k, v in WORDS.items() if told[k] != v and not k.startswith("state_")} == {}
    assert {key for key in WORDS if key.startswith("state_")} == {f"state_{state}" for state in State}


def test_a_catalogue_written_whole_is_read_back_as_it_was() -> None:
    assert read(whole(english()), english()) == english()
    assert english().phrases == ENGLISH


def test_a_term_is_explained_where_it_is_used_and_nowhere_else() -> None:
    words = english()
    assert [t.name for t in used(words, [Html("<p>The pack <b>contactor</b> is welded.</p>")])] == [
        "contactor",
        "welded",
    ]
    assert used(words, [Html("<script>contactor welded trip</script>")]) == ()
    assert [t.name for t in used(words, [Html("<p>tripped</p>")])] == ["trip"]
    names = [t.name for t in words.terms]
    assert names == sorted(names, key=str.lower)
    assert len(set(names)) == len(names)
