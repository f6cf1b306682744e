"""A scheme file, read into the model: one way in, all faults of a file in one go."""

from __future__ import annotations

import os
from collections.abc import Callable

from interlock.scheme.build_cases import build_cases
from interlock.scheme.build_claims import build_claims
from interlock.scheme.build_devices import build_devices
from interlock.scheme.build_faults import build_faults
from interlock.scheme.build_logic import build_lines, build_rules, build_units, rule_order, with_senders
from interlock.scheme.build_power import build_groups, build_outputs, build_paths, with_drivers
from interlock.scheme.build_truth import build_quantities, build_readings, build_sensors
from interlock.scheme.catalogue import derived_faults
from interlock.scheme.draft import Draft
from interlock.scheme.fields import Log, parsed
from interlock.scheme.findings import Finding, SchemeError
from interlock.scheme.grammar import nearest, read_time
from interlock.scheme.judge import judge_limits, judge_rules
from interlock.scheme.keys import TOP
from interlock.scheme.model import Acceptance, Scheme
from interlock.scheme.source import Place, Source, UnreadableError, read_source
from interlock.scheme.tree import MappingNode, Scalar, kind_of, parse_tree, shortened
from interlock.scheme.truth import closed, declared_bounds, merged, reading_bounds

_TEXTS = ("scheme", "revision", "scan", "why")


def load(path: str | os.PathLike[str]) -> Scheme:
    """Read a scheme file. Raises SchemeError with all its findings."""
    return read(open_source(path))


def loads(text: str, name: str = "scheme") -> Scheme:
    """Read a scheme from a text. Raises SchemeError with all its findings."""
    return read(Source(name, text))


def open_source(path: str | os.PathLike[str]) -> Source:
    """The text of a scheme file. Raises SchemeError where it can't be read as text."""
    return as_source(lambda: read_source(path))


def as_source(get: Callable[[], Source]) -> Source:
    """A text, got in some way that raises UnreadableError. Raises SchemeError where it can't be read as text."""
    try:
        return get()
    except UnreadableError as error:
        raise SchemeError([Finding(error.ident, error.message, error.place, error.help)]) from error


def read(source: Source, *, elements: bool = True) -> Scheme:
    """A text into a scheme. Raises SchemeError with all its findings.

    Without `elements`, what a sensor is made of is worked out only where its error follows from that: one whose error
    the scheme states by hand then has no element, and lost leads that read nothing valid unless the scheme says what
    they read. For questions about sound sensors, which this answers alike and sooner.
    """
    root = parse_tree(source)
    draft = Draft(Log(), root, elements=elements)
    texts = _top(draft)
    draft.declare()

    quantities = build_quantities(draft)
    sensors = build_sensors(draft, quantities)
    readings = build_readings(draft)
    units = build_units(draft)
    paths = build_paths(draft)
    groups = build_groups(draft, paths)
    outputs = build_outputs(draft, units)
    rules = build_rules(draft, units, groups)
    lines = with_senders(draft, build_lines(draft), rules)
    paths = with_drivers(draft, paths, outputs, rules)
    rules = judge_rules(draft, rules, lines, outputs, groups)
    judge_limits(draft, rules, quantities, sensors, readings)
    order = rule_order(draft, rules, lines)
    claims, not_protected = build_claims(draft, paths, groups, lines, quantities)
    devices = build_devices(draft, paths, quantities)
    if draft.log.findings:  # the catalogue would only repeat what is missing
        _accepted(draft)
        raise SchemeError(draft.log.findings)

    truths = closed(merged(declared_bounds(quantities), *(reading_bounds(s.measures) for s in sensors.values()))) or {}
    derived = derived_faults(units, sensors, lines, rules, paths, outputs)
    catalogue = build_faults(draft, derived, sensors, truths)
    cases = build_cases(draft, catalogue, quantities, sensors, readings, lines, rules)
    accepted = _accepted(draft)
    if draft.log.findings:
        raise SchemeError(draft.log.findings)
    return Scheme(
        title=texts["scheme"],
        revision=texts.get("revision", ""),
        scan_us=draft.scan_us,
        units=units,
        quantities=quantities,
        sensors=sensors,
        readings=readings,
        lines=lines,
        rules=rules,
        groups=groups,
        paths=paths,
        outputs=outputs,
        claims=claims,
        not_protected=not_protected,
        cases=cases,
        faults=catalogue.faults,
        excluded=tuple(catalogue.exclusions),
        rates=catalogue.rates,
        accepted=accepted,
        order=order,
        why=texts.get("why", ""),
        excluded_faults=catalogue.excluded,
        devices=devices,
    )


def _top(draft: Draft) -> dict[str, str]:
    """The keys at the top: unknown and missing ones reported, the texts read, the scan time set."""
    known = [name for name, _, _ in TOP]
    texts: dict[str, str] = {}
    for entry in draft.root.entries:
        key = entry.key.text
        if key not in known:
            draft.log.report(
                "unknown-key",
                f"`{shortened(key)}` is no section of a scheme",
                entry.key.place,
                nearest(key, known) or "allowed: " + ", ".join(known),
            )
        elif key in _TEXTS:
            if isinstance(entry.value, Scalar) and entry.value.text.strip():
                texts[key] = entry.value.text.strip()
            else:
                draft.log.report(
                    "bad-value", f"`{key}` holds {kind_of(entry.value)}", entry.value.place, "expected a text"
                )
            if key == "scan" and key in texts and isinstance(entry.value, Scalar):
                draft.scan_us = parsed(draft.log, entry.value, read_time) or 0
                if draft.scan_us == 0 and not draft.log.findings:
                    draft.log.report("bad-value", "a scan takes some time", entry.value.place, "such as `100 ms`")
    present = {entry.key.text for entry in draft.root.entries}
    for name, required, says in TOP:
        if required and name not in present:
            draft.log.report("missing-section", f"the scheme has no `{name}`", Place(1, 1), f"{name}: {says}")
    return texts


def _accepted(draft: Draft) -> tuple[Acceptance, ...]:
    """The section `accepted`: FINDING: {NAME: reason}."""
    node = draft.root.get("accepted")
    if node is None:
        return ()
    found = []
    if not isinstance(node, MappingNode):
        draft.log.report("bad-value", f"`accepted` holds {kind_of(node)}", node.place, "FINDING: {NAME: reason}")
        return ()
    for entry in node.entries:
        if not isinstance(entry.value, MappingNode):
            draft.log.report(
                "bad-value",
                f"`{shortened(entry.key.text)}` holds {kind_of(entry.value)}",
                entry.value.place,
                "expected {NAME: reason}",
            )
            continue
        for one in entry.value.entries:
            if isinstance(one.value, Scalar) and one.value.text.strip():
                found.append(Acceptance(entry.key.text, one.key.text, one.value.text.strip(), one.key.place))
            else:
                draft.log.report(
                    "bad-value", f"`{shortened(one.key.text)}` is accepted without a reason", one.key.place, "say why"
                )
    return tuple(found)
