"""The handbook as one page: nothing on it is fetched from anywhere."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from interlock.handbook.card import card
from interlock.handbook.cases import cases
from interlock.handbook.claims import claims
from interlock.handbook.faults import faults
from interlock.handbook.frame import document
from interlock.handbook.glossary import glossary
from interlock.handbook.html import Html, Part, element, joined, paragraph, plain
from interlock.handbook.inline import pens
from interlock.handbook.installation import about, cautions, drawings, installation, maps, more
from interlock.handbook.material import Material
from interlock.handbook.rules import rules
from interlock.handbook.stopped import Links, stopped
from interlock.handbook.style import STYLE
from interlock.handbook.words import Catalogue
from interlock.sheet.style import css_string

# What is folded prints too, but for questions' answers. A browser that does not yet know the style's words for it has
# this: folds are opened for the print and closed after it.
PRINTS = """(() => {
  const opened = [];
  addEventListener("beforeprint", () => {
    for (const fold of document.querySelectorAll("details:not([open])")) {
      if (fold.matches(".set, .exercise *")) continue;
      fold.open = true;
      opened.push(fold);
    }
  });
  addEventListener("afterprint", () => { for (const fold of opened.splice(0)) fold.open = false; });
})();"""
SHORT = 12  # hexadecimal digits of a digest that people compare by eye


@dataclass(frozen=True, slots=True)
class Live:
    """What moves on the page: a part of its own, after the drawings, with the style and the script it needs. `data` is
    JSON that the script finds in the element `IDENT-data`, IDENT being the
    part's."""

    part: Part
    style: str = ""
    script: str = ""
    data: str = ""
    links: Links = field(default_factory=dict)  # where on it a rule is seen to stop a path


def handbook_page(material: Material, words: Catalogue, live: Sequence[Live] = ()) -> str:
    """The whole page."""
    with words.drawn():
        return _page(material, words, live)


def _page(material: Material, words: Catalogue, live: Sequence[Live]) -> str:
    scheme = material.scheme
    parts = [
        stopped(scheme, words, {key: to for one in live for key, to in one.links.items()}),
        installation(material, words),
        drawings(material, words),
        maps(material, words),
        *(one.part for one in live),
        rules(material, words),
        claims(material, words),
        faults(material, words),
        cases(material, words),
        more(material, words),
        card(scheme, words),
    ]
    first = about(material, words)
    parts.append(glossary(words, [first.body, *(part.body for part in parts)]))
    revision = words("page.foot_revision", revision=scheme.revision) if scheme.revision else ""
    foot = words("page.foot", scheme=scheme.title, revision=revision, digest=material.digest[:SHORT])
    head = [
        element("h1", words("page.title", scheme=scheme.title)),
        paragraph(words("page.revision", revision=scheme.revision) if scheme.revision else ""),
        paragraph(words("page.digest", digest=material.digest[:SHORT]), "small"),
        paragraph(words("page.certifies"), "small"),
    ]
    back = Html(f'<p class="back"><a href="#contents">{words.html("page.back")}</a></p>\n')
    body = joined(
        [
            Html(f'<a class="skip" href="#about">{words.html("page.skip")}</a>\n'),
            element("header", joined(head)),
            _doors(words, live),
            _contents(words, [first, *parts]),
            Html('<main id="top" tabindex="-1">\n'),
            _part(first, back),
            cautions(words),
            *(_part(part, back) for part in parts),
            Html("</main>\n"),
            *_scripts(live),
            Html(f"<script>{PRINTS}</script>\n"),
        ]
    )
    style = (
        STYLE.replace("FOOT", css_string(f"{foot}. {words('page.certifies')}"))
        + pens()
        + "".join(one.style for one in live)
    )
    return document(
        words, words("page.title", scheme=scheme.title), style, body, [*(one.script for one in live), PRINTS]
    )


def live_page(words: Catalogue, title: str, live: Sequence[Live]) -> str:
    """Only what moves, as a page."""
    main = joined([Html("<main>\n"), element("h1", title), *(_part(one.part) for one in live), Html("</main>\n")])
    style = STYLE.replace("FOOT", css_string(title)) + "".join(one.style for one in live)
    return document(words, title, style, joined([main, *_scripts(live)]), [one.script for one in live])


def _scripts(live: Iterable[Live]) -> list[Html]:
    """The data and the script of what moves. No text in the data can end the element it stands in."""
    found = []
    for one in live:
        if one.data:
            data = one.data.replace("<", "\\u003c")
            found.append(Html(f'<script type="application/json" id="{one.part.ident}-data">{data}</script>\n'))
        if one.script:
            found.append(Html(f"<script>{one.script}</script>\n"))
    return found


def _doors(words: Catalogue, live: Sequence[Live]) -> Html:
    """What most people come for, before anything else."""
    doors = [("stopped", "page.stopped"), *((one.part.ident, "page.try") for one in live if one.data)]
    links = "".join(f'<a href="#{ident}">{words.html(key)}</a> ' for ident, key in doors)
    return Html(f'<p class="try">{links}</p>\n')


def _contents(words: Catalogue, parts: Iterable[Part]) -> Html:
    listed = "".join(f'<li><a href="#{part.ident}">{plain(part.title)}</a></li>' for part in parts)
    return Html(
        f'<nav aria-labelledby="contents"><p id="contents"><b>{words.html("page.contents")}</b></p>'
        f"<ol>{listed}</ol></nav>\n"
    )


def _part(part: Part, back: str = "") -> Html:
    kind = f' class="{part.kind}"' if part.kind else ""
    return Html(
        f'<section id="{part.ident}"{kind} aria-labelledby="{part.ident}-title">'
        f'<h2 id="{part.ident}-title">{plain(part.title)}</h2>\n{part.body}{back}</section>\n'
    )
