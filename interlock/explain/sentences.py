"""A scheme explained: every part of it in plain sentences, and the facts behind them."""

from __future__ import annotations

from interlock.explain.claims import cases, not_protected, requirements
from interlock.explain.closed import Section, complete
from interlock.explain.devices import devices
from interlock.explain.document import Chapter, Document, Item
from interlock.explain.faults import accepted, excluded, faults, rates
from interlock.explain.measured import quantities, readings, sensors, why
from interlock.explain.phrases import listing, say
from interlock.explain.power import groups, outputs, paths
from interlock.explain.rules import lines, rules
from interlock.explain.words import Say
from interlock.scheme.model import Scheme
from interlock.scheme.units import time_text


def document(scheme: Scheme) -> Document:
    """The whole scheme, section by section; sections with nothing in them are left out."""
    chapters = [Chapter(section, tuple(explain(scheme))) for section, explain in _CHAPTERS.items()]
    return Document(scheme.title, scheme.revision, tuple(c for c in chapters if c.items))


_READING = (
    Say.OVERVIEW_TRUTH,
    Say.OVERVIEW_LOST,
    Say.OVERVIEW_TRIP,
    Say.OVERVIEW_RUN,
    Say.OVERVIEW_RELEASED,
)


def _overview(scheme: Scheme) -> list[Item]:
    sentences = [say(Say.OVERVIEW_REVISION, revision=scheme.revision)] if scheme.revision else []
    sentences.append(say(Say.OVERVIEW_SCAN, scan=time_text(scheme.scan_us)))
    if len(scheme.units) == 1:
        sentences.append(say(Say.OVERVIEW_ONE_UNIT, unit=scheme.units[0]))
    else:
        sentences.append(say(Say.OVERVIEW_UNITS, count=str(len(scheme.units)), units=listing(scheme.units)))
    sentences += [say(key) for key in _READING]
    sentences += why(scheme.why)
    return [Item("", "", tuple(sentences), data={"scan_s": scheme.scan_us / 1_000_000, "units": [*scheme.units]})]


_CHAPTERS = complete(
    {
        Section.OVERVIEW: _overview,
        Section.QUANTITIES: quantities,
        Section.SENSORS: sensors,
        Section.READINGS: readings,
        Section.LINES: lines,
        Section.RULES: rules,
        Section.GROUPS: groups,
        Section.PATHS: paths,
        Section.OUTPUTS: outputs,
        Section.DEVICES: devices,
        Section.REQUIREMENTS: requirements,
        Section.NOT_PROTECTED: not_protected,
        Section.CASES: cases,
        Section.FAULTS: faults,
        Section.EXCLUDED: excluded,
        Section.RATES: rates,
        Section.ACCEPTED: accepted,
    },
    Section,
    "the explanation's sections",
)
