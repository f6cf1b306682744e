"""Every finding has a page, and every page is a test: its first scheme has just this finding, its second has none."""

from __future__ import annotations

import re

import pytest

from interlock.check.idents import Ident
from interlock.check.pages import examples, idents, page
from interlock.scheme.findings import Severity
from tests.check.found import findings, found

EVERY = [str(i) for i in Ident]


def test_every_id_has_a_page_and_every_page_an_id() -> None:
    assert sorted(idents()) == sorted(EVERY)


@pytest.mark.parametrize("ident", EVERY)
def test_the_first_scheme_of_a_page_has_exactly_its_finding(ident: str) -> None:
    seen = findings(examples(ident).found)
    assert {f.ident for f in seen} == {ident}
    assert all(f.severity is Severity.WARNING and f.help and f.place.line for f in seen)


@pytest.mark.parametrize("ident", EVERY)
def test_the_mended_scheme_of_a_page_has_no_finding(ident: str) -> None:
    assert found(examples(ident).mended) == []


@pytest.mark.parametrize("ident", [i for i in EVERY if i != str(Ident.ACCEPTANCE_UNUSED)])
def test_a_finding_is_taken_as_it_is_where_the_scheme_accepts_it(ident: str) -> None:
    text = examples(ident).found
    entries = "".join(f"    {name}: looked at\n" for _, name in dict.fromkeys(found(text)))
    assert found(f"{text}accepted:\n  {ident}:\n{entries}") == []


@pytest.mark.parametrize("ident", EVERY)
def test_a_page_says_what_why_and_what_to_do(ident: str) -> None:
    text = page(ident)
    assert text.startswith(f"# {ident}\n\n")
    titles = re.findall(r"^## (.*)$", text, re.M)
    assert titles == ["What it means", "Why it matters", "Found in", "Mended", "What to do"]
    prose = re.sub(r"^```yaml\n.*?^```$", "", text, flags=re.S | re.M)
    assert all(len(line) <= 100 for line in prose.splitlines())


def test_an_unknown_id_has_no_page() -> None:
    with pytest.raises(KeyError):
        page("no-such-finding")
