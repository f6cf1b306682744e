"""`interlock settings`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from interlock.check.facts import Facts
from interlock.check.idents import Ident
from interlock.check.run import check
from interlock.check.steps import next_step, own_last, own_side, steps
from interlock.cli.files import refused, write_whole
from interlock.cli.opened import opened_text
from interlock.cli.render import count_text, finding_json, print_findings, print_json, tell
from interlock.cli.status import Exit
from interlock.scheme.findings import Finding
from interlock.scheme.model import Scheme
from interlock.scheme.words import OwnLimit
from interlock.sheet.cautions import CAUTIONS, NO_CERTIFICATE
from interlock.sheet.settings import Next, SettingsSheet, settings_sheet, sheet_lines

GRADING = frozenset(
    map(
        str,
        (
            Ident.SOURCE_ABOVE_TRIP,
            Ident.CUT_OFF_AFTER_TRIP,
            Ident.SETTINGS_OUT_OF_ORDER,
            Ident.RECONNECT_OUT_OF_REACH,
            Ident.STEPS_OVERLAP,
            Ident.DAMAGE_BEFORE_STOP,
            Ident.REMOTE_INPUT_DISABLED,
            Ident.REMOTE_INPUT_UNVERIFIED,
        ),
    )
)


def settings(file: Path, to: Path | None, *, as_json: bool) -> int:
    """Print the sheet, or write it as a page; faults of the grading come first."""
    if to is not None and (why := refused(to, ".html")):
        sys.stderr.write(f"--to {to}: {why}\n")
        return Exit.BAD_INPUT
    scheme, source = opened_text(file, as_json=as_json)
    if not scheme.devices:
        sys.stderr.write(
            f"{file} has no section `devices`, so there is nothing to set: see `devices` in `interlock reference`\n"
        )
        return Exit.BAD_INPUT
    findings = tuple(f for f in check(scheme) if f.ident in GRADING)
    sheet = settings_sheet(scheme, _following(scheme))
    if to is not None:
        try:
            write_whole(to, _page(scheme, sheet, findings).encode())
        except OSError as error:
            sys.stderr.write(f"--to {to}: {error.strerror}\n")
            return Exit.BAD_INPUT
    if as_json:
        print_json(_json(sheet, scheme, findings, str(file), to))
    else:
        print_findings(findings, source, str(file))
        tell(_words(sheet) if to is None else [f"{count_text(len(sheet.devices), 'device')} in {to}"])
    return Exit.FINDING if findings else Exit.GOOD


def _following(scheme: Scheme) -> dict[tuple[str, OwnLimit], Next]:
    every = steps(Facts(scheme))
    found = {}
    for device in scheme.devices.values():
        for limit in device.limits:
            step = next_step(every, device, limit) if own_side(limit) is not None else None
            if step:
                sign = -1 if step.downward else 1
                found[device.path, limit.which] = Next(step.rule.name, sign * step.first, step.first - own_last(limit))
    return found


def _words(sheet: SettingsSheet) -> list[str]:
    cautions = [f"{c.word}: {c.says}" for c in CAUTIONS]
    return [*sheet_lines(sheet), "", "Before you open anything:", *(f"  {c}" for c in cautions), f"  {NO_CERTIFICATE}"]


def _page(scheme: Scheme, sheet: SettingsSheet, findings: tuple[Finding, ...]) -> str:
    from interlock.draw.ladder import draw_ladders
    from interlock.sheet.settings_page import settings_page

    seen = {f"ladder_{limit.quantity}" for device in scheme.devices.values() for limit in device.limits}
    ladders = [str(d.svg) for d in draw_ladders(scheme) if d.name in seen]
    return settings_page(sheet, [f.message for f in findings], ladders)


def _json(
    sheet: SettingsSheet, scheme: Scheme, findings: tuple[Finding, ...], file: str, to: Path | None
) -> dict[str, Any]:
    following = _following(scheme)
    return {
        "scheme": sheet.title,
        "revision": sheet.revision,
        "devices": [
            {
                "path": device.path,
                "what": device.what,
                "cells": device.cells,
                "settings": [
                    {
                        "setting": str(limit.which),
                        "quantity": limit.quantity,
                        "compare": str(limit.compare) if limit.compare else None,
                        "value": limit.value / 1_000_000,
                        "unit": str(scheme.quantities[limit.quantity].kind),
                        "each": limit.nominal / 1_000_000,
                        "delay_s": limit.delay.us / 1_000_000,
                        "truth": [limit.truth.low / 1_000_000, limit.truth.high / 1_000_000],
                        "next": _next_json(following.get((device.path, limit.which))),
                    }
                    for limit in scheme.devices[device.path].limits
                ],
                "remote_enabled": scheme.devices[device.path].remote_enabled,
                "verified_at": scheme.devices[device.path].verified_at,
                "ticks": [*device.ticks],
            }
            for device in sheet.devices
        ],
        "without": [*sheet.without],
        "findings": [finding_json(f, file) for f in findings],
        "cautions": [f"{c.word}: {c.says}" for c in CAUTIONS],
        "file": str(to) if to else None,
    }


def _next_json(after: Next | None) -> dict[str, Any] | None:
    if after is None:
        return None
    return {"rule": after.rule, "from": after.at / 1_000_000, "left": after.room / 1_000_000}
