"""Findings in SARIF 2.1.0 (Static Analysis Results Interchange Format, OASIS Standard), for code review tools."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import PurePath
from typing import Any, assert_never
from urllib.parse import quote

from interlock.check.pages import idents, page
from interlock.scheme.findings import Finding, Severity
from interlock.scheme.source import NOWHERE, Place

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
VERSION = "2.1.0"

# The examples of a page are for readers of YAML, not for a code review tool's margin.
_EXAMPLES = re.compile(r"^## (?:Found in|Mended)\n.*?(?=^## )", re.S | re.M)

Json = dict[str, Any]


def sarif(results: Sequence[tuple[str, Sequence[Finding]]], version: str) -> Json:
    """A SARIF log of one run over the files named in `results`. `version`: that of this program.

    Columns count Unicode code points from 1; `endColumn` is the column after the last character (section 3.30.8).
    """
    found = [f for _, findings in results for f in findings]
    rules = sorted({f.ident for f in found})
    severities = {f.ident: f.severity for f in found}
    index = {ident: i for i, ident in enumerate(rules)}
    artifacts = {uri: i for i, uri in enumerate(dict.fromkeys(_uri(name) for name, _ in results))}
    return {
        "$schema": SCHEMA,
        "version": VERSION,
        "runs": [
            {
                "tool": {
                    "driver": {
                        "name": "interlock",
                        "version": version,
                        "rules": [_rule(ident, severities[ident]) for ident in rules],
                    }
                },
                "columnKind": "unicodeCodePoints",
                "artifacts": [{"location": {"uri": uri}} for uri in artifacts],
                "results": [
                    _result(finding, index[finding.ident], _uri(name), artifacts[_uri(name)])
                    for name, findings in results
                    for finding in findings
                ],
            }
        ],
    }


def _rule(ident: str, severity: Severity) -> Json:
    rule: Json = {"id": ident, "defaultConfiguration": {"level": _level(severity)}}
    if ident in idents():
        text = _message(_EXAMPLES.sub("", page(ident)))
        rule["shortDescription"] = {"text": _headline(text)}
        rule["help"] = {"text": text, "markdown": text}
    else:
        rule["shortDescription"] = {"text": ident.replace("-", " ").capitalize() + "."}
    return rule


def _message(text: str) -> str:
    """A message string: braces are doubled, since single ones hold placeholders (section 3.11.5)."""
    return text.replace("{", "{{").replace("}", "}}")


def _headline(text: str) -> str:
    """The first paragraph after a page's title."""
    return " ".join(text.split("\n\n")[1].split())


def _level(severity: Severity) -> str:
    match severity:
        case Severity.ERROR:
            return "error"
        case Severity.WARNING:
            return "warning"
    assert_never(severity)


def _result(finding: Finding, rule: int, uri: str, artifact: int) -> Json:
    result: Json = {
        "ruleId": finding.ident,
        "ruleIndex": rule,
        "level": _level(finding.severity),
        "message": {"text": _message(f"{finding.message}\n{finding.help}" if finding.help else finding.message)},
        "locations": [_location(finding.place, uri, artifact)],
    }
    related = [_related(i, place, said, uri, artifact) for i, (place, said) in enumerate(_placed(finding.also))]
    if related:
        result["relatedLocations"] = related
    return result


def _placed(also: Iterable[tuple[Place, str]]) -> list[tuple[Place, str]]:
    return [(place, said) for place, said in also if place != NOWHERE]


def _related(number: int, place: Place, said: str, uri: str, artifact: int) -> Json:
    return {"id": number, **_location(place, uri, artifact), "message": {"text": _message(said)}}


def _location(place: Place, uri: str, artifact: int) -> Json:
    """A place in a file; the file as a whole where there is no place."""
    physical: Json = {"artifactLocation": {"uri": uri, "index": artifact}}
    if place != NOWHERE:
        physical["region"] = {
            "startLine": place.line,
            "startColumn": place.column,
            "endColumn": place.column + max(1, place.length),
        }
    return {"physicalLocation": physical}


def _uri(name: str) -> str:
    """A file's name as a URI reference (RFC 3986): relative where the name is."""
    path = PurePath(name)
    return path.as_uri() if path.is_absolute() else quote(path.as_posix())
