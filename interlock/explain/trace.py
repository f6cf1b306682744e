"""A run told as a story.

A run is a sequence of stretches, each one world for a number of scans with what its last scan came to.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from interlock.explain.closed import complete
from interlock.explain.phrases import Phrase, listing, say, text
from interlock.explain.template import Template
from interlock.explain.words import ENGLISH, Say
from interlock.logic.scan import Seen, World
from interlock.scheme.model import Claim, Scheme
from interlock.scheme.units import lasted_text, time_text, value_text
from interlock.scheme.words import Must, Signal


class Told(Protocol):
    """What a story needs of a stretch of a run."""

    @property
    def world(self) -> World: ...
    @property
    def truth(self) -> Mapping[str, int | Fraction]: ...
    @property
    def scans(self) -> int: ...
    @property
    def bad(self) -> bool: ...
    @property
    def last(self) -> Seen | None: ...


@dataclass(frozen=True, slots=True)
class Moment:
    """A while of a story: its first scan, its length, the worlds' truth and readings, and what it came to."""

    first: int
    scans: int
    world: World
    truth: Mapping[str, int | Fraction]
    bad: bool
    seen: Seen | None


def moments(run: Sequence[Told]) -> list[Moment]:
    """The run with neighbours of one world joined."""
    joined: list[Moment] = []
    at = 0
    for part in run:
        last = joined[-1] if joined else None
        same = last and last.world == part.world and last.truth == part.truth and last.bad is bool(part.bad)
        if last and same and not part.world.cycles:
            joined[-1] = Moment(last.first, last.scans + part.scans, last.world, last.truth, last.bad, part.last)
        else:
            joined.append(Moment(at, part.scans, part.world, part.truth, bool(part.bad), part.last))
        at += part.scans
    return joined


def told(scheme: Scheme, claim: Claim, run: Sequence[Told], catalogue: Mapping[Template, str] = ENGLISH) -> list[str]:
    """The run in sentences, each with its time: only what has to do with the claim, and only what changes."""
    return [text(phrase, catalogue) for phrase in story(scheme, claim, run)]


def story(scheme: Scheme, claim: Claim, run: Sequence[Told]) -> list[Phrase]:
    """The same before it is put into words."""
    named = names_that_matter(scheme, claim)
    sentences = []
    before: Moment | None = None
    for moment in moments(run):
        said = _changes(scheme, named, before, moment)
        said += _outcome(claim, before, moment)
        if said:
            changes = listing(said, Say.SEMICOLON, Say.SEMICOLON)
            at = time_text(moment.first * scheme.scan_us)
            sentences.append(
                say(Say.STORY_AT, time=at, changes=changes)
                if moment.first
                else say(Say.STORY_POWER_UP, changes=changes)
            )
        before = moment
    if before:
        bad = sum(m.scans for m in _bad_tail(moments(run)))
        sentences.append(
            say(
                _BROKEN[claim.must][1],
                time=time_text((before.first + before.scans) * scheme.scan_us),
                path=claim.path,
                lasted=lasted_text(bad * scheme.scan_us),
                allowed=time_text(claim.longer_than.us),
            )
        )
    return sentences


def _bad_tail(parts: Sequence[Moment]) -> list[Moment]:
    tail: list[Moment] = []
    for part in reversed(parts):
        if not part.bad:
            break
        tail.append(part)
    return tail


def names_that_matter(scheme: Scheme, claim: Claim) -> set[str]:
    """Quantities and lines of the claim's conditions, and what the rules that act on its paths look at."""
    names = {c.name for c in claim.all_conditions()}
    paths = {claim.path} | {c.name for c in claim.all_conditions() if c.signal is Signal.PATH}
    behind = scheme.paths[claim.path].behind
    while behind and behind not in paths:
        paths.add(behind)
        behind = scheme.paths[behind].behind
    rules = [
        r for r in scheme.rules.values() if any(t.path in paths for t in r.blocks) or any(p in paths for p in r.starts)
    ]
    seen: set[str] = set()
    while rules:
        rule = rules.pop()
        if rule.name in seen:
            continue
        seen.add(rule.name)
        looks = [(rule.watches, rule.watched), *((c.signal, c.name) for c in rule.only_while)]
        looks += [(Signal.LINE, n) for n in (rule.reset_by, rule.overridden_by) if n]
        for signal, name in looks:
            names.add(name)
            if signal is Signal.RULE:
                rules.append(scheme.rules[name])
            elif signal is Signal.LINE:
                rules += [scheme.rules[n] for n in scheme.lines[name].rules]
            elif signal is Signal.READING:
                names.update(scheme.readings[name].sensors)
    return names


def _changes(scheme: Scheme, named: set[str], before: Moment | None, now: Moment) -> list[Phrase]:
    said: list[Phrase] = []
    faults = now.world.faults - (before.world.faults if before else frozenset())
    said += [say(Say.STORY_ARISES, fault=fault.name) for fault in sorted(faults, key=lambda f: f.name)]
    said += [say(Say.STORY_CYCLED, unit=unit) for unit in sorted(now.world.cycles)]
    for name, on in now.world.lines.items():
        if name in named and (before.world.lines.get(name, False) if before else False) is not on:
            said.append(say(Say.STORY_GOES, line=name, state=say(Say.ON if on else Say.OFF)))
    for name, truth in now.truth.items():
        if name in named and (before is None or before.truth.get(name) != truth):
            said.append(say(Say.IS, name=name, value=value_text(truth, scheme.quantities[name].kind)))
    for name, reading in now.world.readings.items():
        if name in named and (before is None or before.world.readings.get(name) != reading):
            read = value_text(reading, scheme.sensors[name].kind)
            said.append(say(Say.STORY_MAY_READ, name=name, value=read))
    return said


# (from when on it may be so, how long it may have been so at the end)
_BROKEN = complete(
    {
        Must.NEVER_RUNNING: (Say.STORY_RUNS, Say.STORY_RAN),
        Must.NEVER_STOPPED: (Say.STORY_STOPS, Say.STORY_STOPPED),
    },
    Must,
    "broken claims in a story",
)


def _outcome(claim: Claim, before: Moment | None, now: Moment) -> list[Phrase]:
    return [say(_BROKEN[claim.must][0], path=claim.path)] if now.bad and not (before and before.bad) else []
