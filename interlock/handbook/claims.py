"""Each claim: its verdict, its exposure against what is allowed, its margins."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from interlock.explain.claims import not_protected, requirements
from interlock.explain.document import Item
from interlock.explain.phrases import sentence
from interlock.handbook.html import Html, Part, element, items, joined, paragraph, plain, safe, table
from interlock.handbook.installation import item_html
from interlock.handbook.material import Material
from interlock.handbook.words import Catalogue
from interlock.proof.margins import Margin
from interlock.proof.prove import Outcome, Verdict
from interlock.scheme.model import Claim, Scheme
from interlock.scheme.units import lasted_text, time_text, value_text

_WORD = {outcome: f"claims.{outcome}" for outcome in Outcome}


def claims(material: Material, words: Catalogue) -> Part:
    """Requirement by requirement."""
    scheme = material.scheme
    body = [paragraph(words("claims.says"))]
    if material.assumed:
        body += [paragraph(words("claims.assumed")), items(material.assumed)]
    for item in requirements(scheme):
        own = [c for c in scheme.claims if c.requirement == item.name]
        body.append(_requirement(material, words, item, own))
    unprotected = unprotected_words(scheme, words)
    if unprotected:
        body.append(Html(f'<div class="warning">{items(unprotected)}</div>\n'))
    return Part("claims", words("claims.title"), joined(body))


def unprotected_words(scheme: Scheme, words: Catalogue) -> list[str]:
    """Of each path that nothing switches, what that means."""
    return [
        f"{item.name}: {' '.join(sentence(s, words.phrases) for s in item.sentences)}" for item in not_protected(scheme)
    ]


def _requirement(material: Material, words: Catalogue, item: Item, own: Sequence[Claim]) -> Html:
    heads = [words(f"claims.{key}") for key in HEADS]
    rows = [_row(material.scheme, words, claim, material.verdicts.get(claim.name)) for claim in own]
    stories = [
        joined([element("h4", claim.name), paragraph(words("claims.story")), items(material.stories[claim.name])])
        for claim in own
        if claim.name in material.stories
    ]
    return Html(
        f'<div class="requirement" id="requirement-{plain(item.name)}">{item_html(words, item, "h3")}'
        f"{table(words('claims.caption', requirement=item.name), heads, rows)}{joined(stories)}</div>\n"
    )


def _row(scheme: Scheme, words: Catalogue, claim: Claim, verdict: Verdict | None) -> Sequence[str]:
    name, word, *rest = verdict_words(scheme, words, claim, verdict)
    bad = verdict is not None and verdict.outcome is not Outcome.HOLDS
    return (name, Html(f'<span class="verdict-bad">{safe(word)}</span>') if bad else word, *rest)


HEADS = ("claim", "verdict", "exposure", "allowed", "margin")


def verdict_words(
    scheme: Scheme, words: Catalogue, claim: Claim, verdict: Verdict | None
) -> tuple[str, str, str, str, str]:
    """A claim's row under `HEADS`."""
    allowed = time_text(claim.longer_than.us)
    if verdict is None:
        return (claim.name, words("claims.not_judged"), words("claims.none"), allowed, words("claims.none"))
    return (
        claim.name,
        words(_WORD[verdict.outcome]),
        _exposure(words, verdict, allowed),
        allowed,
        _margins(scheme, words, verdict.margins) or verdict.reason or words("claims.none"),
    )


def _exposure(words: Catalogue, verdict: Verdict, allowed: str) -> str:
    match verdict.outcome:
        case Outcome.HOLDS:
            worst = lasted_text(verdict.exposure_us or 0)
            return words("claims.at_most", time=worst) if verdict.covered else worst
        case Outcome.VIOLATED:
            if verdict.exposure_us is not None and verdict.exposure_us:
                return lasted_text(verdict.exposure_us)
            return words("claims.endless") if verdict.endless else words("claims.beyond", time=allowed)
        case Outcome.UNDECIDED | Outcome.VACUOUS:
            return words("claims.none")


def _margins(scheme: Scheme, words: Catalogue, margins: Iterable[Margin]) -> str:
    said = []
    for margin in margins:
        quantity = margin.condition.name
        if margin.value is None:
            said.append(words("claims.margin_on", margin=words("claims.no_margin"), quantity=quantity))
            continue
        value = value_text(margin.value, scheme.quantities[quantity].kind, difference=True)
        key = "claims.margin_on" if margin.known else "claims.margin_on_least"
        said.append(words(key, margin=value, quantity=quantity))
    return "; ".join(said)
