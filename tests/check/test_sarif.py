"""Findings as SARIF 2.1.0. What the standard (OASIS Standard, 27 March 2020) requires is checked from memory; its text
was not at hand. Section numbers are the standard's."""

from __future__ import annotations

import json
from typing import Any

import pytest

from interlock import __version__
from interlock.check.idents import Ident
from interlock.check.pages import examples
from interlock.check.sarif import sarif
from interlock.scheme.findings import Finding, SchemeError
from interlock.scheme.read import loads
from interlock.scheme.source import NOWHERE, Place
from tests.check.found import findings

EVERY = [str(i) for i in Ident]


def run_of(log: dict[str, Any]) -> dict[str, Any]:
    (run,) = log["runs"]
    assert isinstance(run, dict)
    return run


def test_a_log_names_its_version_and_its_tool() -> None:
    log = sarif([("hut.yaml", ())], __version__)
    assert log["version"] == "2.1.0"  # 3.13.2: required
    assert log["$schema"].endswith("sarif-schema-2.1.0.json")
    driver = run_of(log)["tool"]["driver"]  # 3.14.6, 3.18.2: required
    assert driver["name"] == "interlock"  # 3.19.8: required
    assert driver["version"] == __version__
    assert run_of(log)["results"] == []  # 3.14.23: empty where the tool ran and found nothing
    assert json.loads(json.dumps(log)) == log


@pytest.mark.parametrize("ident", EVERY)
def test_each_result_points_at_its_rule_and_its_place(ident: str) -> None:
    text = examples(ident).found
    seen = findings(text)
    run = run_of(sarif([("hut.yaml", seen)], __version__))
    lines = text.split("\n")
    for finding, result in zip(seen, run["results"], strict=True):
        rule = run["tool"]["driver"]["rules"][result["ruleIndex"]]  # 3.27.6
        assert result["ruleId"] == rule["id"] == ident  # 3.27.5, 3.49.3
        assert result["level"] == rule["defaultConfiguration"]["level"] == "warning"  # 3.27.10
        assert result["message"]["text"].replace("{{", "{").replace("}}", "}").startswith(finding.message)  # 3.27.11
        (location,) = result["locations"]
        physical = location["physicalLocation"]
        assert physical["artifactLocation"] == {"uri": "hut.yaml", "index": 0}  # 3.4.3, 3.4.5
        region = physical["region"]
        assert set(region) == {"startLine", "startColumn", "endColumn"}
        line = lines[region["startLine"] - 1]
        assert 1 <= region["startColumn"] < region["endColumn"] <= len(line) + 1  # 3.30.6, 3.30.8: one past the last
        marked = line[region["startColumn"] - 1 : region["endColumn"] - 1]
        assert len(marked) == finding.place.length
        assert marked.strip() == marked


@pytest.mark.parametrize("ident", EVERY)
def test_each_rule_has_its_page_as_help(ident: str) -> None:
    run = run_of(sarif([("hut.yaml", findings(examples(ident).found))], __version__))
    (rule,) = run["tool"]["driver"]["rules"]
    assert rule["help"]["text"]  # 3.12.3: a message string has text
    assert rule["help"]["markdown"].startswith(f"# {ident}\n")
    assert "```" not in rule["help"]["text"]
    assert "{" not in rule["help"]["text"], "a viewer may show braces doubled: pages say it without"
    short = rule["shortDescription"]["text"]  # 3.49.9: a single sentence
    assert short.endswith(".")
    assert "\n" not in short


def test_other_places_involved_are_related_locations() -> None:
    run = run_of(sarif([("hut.yaml", findings(examples("small-hysteresis").found))], __version__))
    related = run["results"][0]["relatedLocations"]
    assert [r["message"]["text"] for r in related] == ["trips here", "its error stands here"]
    assert [r["id"] for r in related] == [0, 1]  # 3.28.2: unique, not negative
    assert all(r["physicalLocation"]["region"]["startLine"] for r in related)


def test_errors_of_the_reader_are_results_too() -> None:
    with pytest.raises(SchemeError) as caught:
        loads("scheme: Nothing else\n", "bad.yaml")
    run = run_of(sarif([("bad.yaml", caught.value.findings)], __version__))
    assert {r["level"] for r in run["results"]} == {"error"}
    assert all(r["shortDescription"]["text"] for r in run["tool"]["driver"]["rules"])


def test_a_finding_without_a_place_is_about_the_file() -> None:
    run = run_of(sarif([("hut.yaml", [Finding("cannot-open", "it can't be opened", NOWHERE)])], __version__))
    (location,) = run["results"][0]["locations"]
    assert location == {"physicalLocation": {"artifactLocation": {"uri": "hut.yaml", "index": 0}}}
    assert run["results"][0]["message"] == {"text": "it can't be opened"}


def test_braces_in_messages_are_doubled() -> None:
    """A single brace opens a placeholder (3.11.5)."""
    finding = Finding("x", "expected {charge: {LINE: on}}", Place(1, 1), also=((Place(2, 1), "{here}"),))
    run = run_of(sarif([("hut.yaml", [finding])], __version__))
    assert run["results"][0]["message"]["text"] == "expected {{charge: {{LINE: on}}}}"
    assert run["results"][0]["relatedLocations"][0]["message"]["text"] == "{{here}}"


def test_names_of_files_become_uri_references() -> None:
    names = ["rules/alpine hut.yaml", "/srv/bö.yaml", "rules/alpine hut.yaml"]
    run = run_of(sarif([(n, [Finding("x", "m", Place(1, 1))]) for n in names], __version__))
    assert [a["location"]["uri"] for a in run["artifacts"]] == ["rules/alpine%20hut.yaml", "file:///srv/b%C3%B6.yaml"]
    indices = [r["locations"][0]["physicalLocation"]["artifactLocation"]["index"] for r in run["results"]]
    assert indices == [0, 1, 0]
