"""A scheme's machinery by itself: what runs, without what is asked of it."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.records import replace
from interlock.scheme.model import Line, Output, Path, Quantity, Rule, Scheme, Sensor
from interlock.scheme.order import in_order


def bare(scheme: Scheme) -> Scheme:
    """Without claims, cases, faults, groups and devices."""
    return replace(
        scheme,
        groups={},
        claims=(),
        not_protected=(),
        cases=(),
        devices={},
        faults={},
        excluded=(),
        rates={},
        accepted=(),
        excluded_faults={},
    )


def with_parts(
    scheme: Scheme,
    *,
    quantities: Mapping[str, Quantity],
    sensors: Mapping[str, Sensor],
    lines: Mapping[str, Line],
    rules: Mapping[str, Rule],
    paths: Mapping[str, Path],
    outputs: Mapping[str, Output],
) -> Scheme:
    """A bare scheme with other parts, its rules put in order. Raises LoopError where they wait for each other."""
    senders = {name: line.rules for name, line in lines.items() if line.form.sent}
    return replace(
        bare(scheme),
        quantities=quantities,
        sensors=sensors,
        lines=lines,
        rules=rules,
        paths=paths,
        outputs=outputs,
        order=in_order(rules, senders),
    )
