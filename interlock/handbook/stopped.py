"""What has stopped? For each path what may stop it, what to look at, what ends it: the first thing to turn to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from interlock.draw.words import condition_text, trigger_text
from interlock.explain.words import Say
from interlock.handbook.card import ends, things
from interlock.handbook.html import Html, Part, element, joined, paragraph, plain, safe
from interlock.handbook.installation import loads, sources
from interlock.handbook.words import Catalogue
from interlock.scheme.model import Path, Rule, Scheme, Target
from interlock.scheme.words import OnInvalid, Signal

Links = Mapping[tuple[str, str], str]  # the address on the page where a rule is seen to stop a path


def stopped(scheme: Scheme, words: Catalogue, links: Links) -> Part:
    """The part: a fold for each path. On the screen only: the card for the wall has the same by stops."""
    charge, draw = sources(scheme), loads(scheme)
    groups = {
        "sources": charge,
        "loads": [path for path in draw if path not in charge],
        "others": [path for path in scheme.paths.values() if path not in charge and path not in draw],
    }
    body = [paragraph(words("stopped.says"))]
    for name, paths in groups.items():
        if paths:
            body.append(element("h3", words(f"stopped.{name}")))
            body += [_fold(scheme, path, words, links) for path in paths]
    return Part("stopped", words("stopped.title"), joined(body), "screen")


def _fold(scheme: Scheme, path: Path, words: Catalogue, links: Links) -> Html:
    name = plain(path.name)
    causes = "".join(f"<li>{cause}</li>\n" for cause in _causes(scheme, path, words, links))
    listed = Html(f"<ol>{causes}</ol>\n" if causes else "")
    return Html(
        f'<details class="stopped" id="stopped-{name}"><summary>{name}</summary>\n'
        f"{joined(paragraph(line) for line in _first(scheme, path, words))}{listed}"
        f"{paragraph(_last(path, words))}</details>\n"
    )


def _first(scheme: Scheme, path: Path, words: Catalogue) -> Iterator[str]:
    """What is to be known before any rule is suspected."""
    if path.behind:
        behind = Html(f'<a href="#stopped-{plain(path.behind)}">{safe(path.behind)}</a>')
        yield Html(words.html("stopped.behind", path="\0").replace("\0", behind))
    if path.started_by:
        asks = [
            words("stopped.asks", rule=rule.name, signal=rule.watched, trips=trigger_text(scheme, rule, rule.trips))
            for rule in scheme.rules.values()
            if path.name in rule.starts
        ]
        yield words("stopped.asked", rules="; ".join(asks)) if asks else words("stopped.never_asked")


def _causes(scheme: Scheme, path: Path, words: Catalogue, links: Links) -> Iterator[Html]:
    """The rules that stop it: those that see the pack or a line first, then those that follow another path or rule."""
    found = [(rule, target) for rule in scheme.rules.values() for target in rule.blocks if target.path == path.name]
    found.sort(key=lambda one: one[0].watches in (Signal.PATH, Signal.RULE))
    seen: set[str] = set()
    for rule, target in found:
        if rule.name not in seen:
            seen.add(rule.name)
            yield _cause(scheme, rule, target, words, links.get((rule.name, path.name), ""))


def _cause(scheme: Scheme, rule: Rule, target: Target, words: Catalogue, link: str) -> Html:
    key = "stopped.when_lost" if rule.watches.numeric and rule.on_invalid is OnInvalid.TRIP else "stopped.when"
    said = [words(key, signal=rule.watched, trips=trigger_text(scheme, rule, rule.trips))]
    said += [words("stopped.while", condition=condition_text(scheme, c)) for c in rule.only_while]
    if target.when:
        both, either = words.phrases[Say.AND], words.phrases[Say.OR]
        modes = (both.join(condition_text(scheme, c) for c in alternative) for alternative in target.when)
        said.append(words("stopped.while", condition=either.join(modes)))
    looked_at = dict.fromkeys(things(scheme, rule))
    if rule.watches is Signal.LINE:
        for sender in (scheme.rules[name] for name in scheme.lines[rule.watched].rules):
            trips = trigger_text(scheme, sender, sender.trips)
            said.append(words("stopped.sent", rule=sender.name, line=rule.watched, signal=sender.watched, trips=trips))
            looked_at |= dict.fromkeys(things(scheme, sender))
    said.append(words("card.look", things=", ".join(looked_at)))
    said.append(ends(scheme, rule, words))
    if rule.why:
        said.append(words("card.why", why=rule.why.rstrip(". ")))
    name = Html(f'<a href="#rule-{plain(rule.name)}"><b>{safe(rule.name)}</b></a>')
    shown = Html(f' <a href="#{plain(link)}">{words.html("stopped.try")}</a>') if link else Html("")
    return Html(f"{name}: {safe(' '.join(said))}{shown}")


def _last(path: Path, words: Catalogue) -> str:
    if path.unswitched:
        return words("stopped.unswitched", why=path.unswitched.rstrip(". "))
    return words("stopped.last", outputs=", ".join(path.outputs) or path.behind or path.name)
