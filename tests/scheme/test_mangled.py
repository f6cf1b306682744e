"""Mangled copies of whole schemes: read in time or refused with a place; never a traceback, never a silent change.

The mutator works on the text, from a seed: it drops, doubles, swaps and replaces characters, words, lines and blocks,
and plants what breaks parsers. What is still read is held against the text itself, read by PyYAML and a regular
expression: every name, and every trigger's limit and delay.
"""

from __future__ import annotations

import random
import re
import time
from collections import Counter
from fractions import Fraction
from math import ceil
from pathlib import Path
from typing import Any

import pytest
import yaml

from interlock.scheme.findings import SchemeError
from interlock.scheme.idents import READER_FINDINGS
from interlock.scheme.model import Limit, Scheme, Trigger
from interlock.scheme.read import loads
from tests.support.bench import BENCH

RULES = Path(__file__).parents[2] / "rules"
COPIES = 1000
CHUNKS = 10
LONGEST_S = 2.0

PLANTS = (
    "\t", "\x00", "\ufeff", "\u2028", "\u202e", "é", "\U0001f50b", "'", '"', "{", "}", "[", "]", ": ", ", ", " # ",
    "&a ", "*a", "!!int ", "- ", "? ", "| ", "> ", "%", "@", "`", "---\n", "...\n", "<<: ", "null", "~", "yes", "0x1F",
    "1e400", "9" * 400, ".nan", "-.inf", "1_000", "12:30:00", "2001-01-01", "\\", "[" * 60, "{a: " * 60, "&x [*x, *x]",
    "\r", "\x85",
)  # fmt: skip


def mangled(rng: random.Random, text: str) -> str:
    """One to four small injuries to a text."""
    for _ in range(rng.choice((1, 1, 1, 2, 4))):
        at = rng.randrange(len(text))
        end = min(len(text), at + rng.choice((1, 1, 2, 5, 20, 200)))
        lines = text.split("\n")
        words = list(re.finditer(r"\w+", text))
        match rng.randrange(8):
            case 0:
                text = text[:at] + text[end:]
            case 1:
                text = text[:at] + text[at:end] * 2 + text[end:]
            case 2:
                text = text[:at] + rng.choice(PLANTS) + text[at:]
            case 3:
                text = (
                    text[:at] + chr(rng.choice((rng.randrange(32, 127), rng.randrange(0x20, 0x3000)))) + text[at + 1 :]
                )
            case 4:
                i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
                lines[i], lines[j] = lines[j], lines[i]
                text = "\n".join(lines)
            case 5:
                del lines[rng.randrange(len(lines))]
                text = "\n".join(lines)
            case 6:
                one, other = rng.choice(words), rng.choice(words)
                text = text[: one.start()] + other.group() + text[one.end() :]
            case 7:
                lines[rng.randrange(len(lines))] = " " * rng.randrange(9) + rng.choice(lines).strip()
                text = "\n".join(lines)
    return text


def sources() -> list[str]:
    return [BENCH, *(path.read_text(encoding="utf-8") for path in sorted(RULES.glob("*.yaml")))]


def plain(node: yaml.Node) -> Any:
    """A YAML tree as mappings, lists and words, by PyYAML's own composer."""
    if isinstance(node, yaml.MappingNode):
        return {key.value: plain(value) for key, value in node.value}
    if isinstance(node, yaml.SequenceNode):
        return [plain(item) for item in node.value]
    return node.value


TRIGGER = re.compile(
    r"\s*(?P<op>\w+)(\s+(?P<number>[-+.\deE]+)\s*(?P<unit>degC|°C|K|mV|V|%|A))?(\s+for\s+(?P<time>[-+.\deE]+)\s*(?P<tu>\w+))?\s*"
)
TIMES = {"ms": 1_000, "s": 1_000_000, "min": 60_000_000, "h": 3_600_000_000, "d": 86_400_000_000}


def holds_as_written(trigger: Trigger, text: str, scan_us: int) -> None:
    """A trigger's limit and delay are those of its text."""
    found = TRIGGER.fullmatch(text)
    assert found, text
    micro = 1_000 if found["unit"] == "mV" else 1_000_000
    if isinstance(trigger.test, Limit):
        assert str(trigger.test.compare) == found["op"]
        assert trigger.test.value == Fraction(found["number"]) * micro, text
    else:
        assert found["op"] in (("on", "running", "active") if trigger.test else ("off", "stopped", "clear"))
    us = Fraction(found["time"] or 0) * TIMES[found["tu"] or "s"]
    assert trigger.delay.us == us, text
    assert trigger.delay.scans == ceil(us / scan_us), text


def held_against_its_text(scheme: Scheme, text: str) -> None:
    """Nothing is lost or changed between a text and the scheme read from it."""
    node = yaml.compose(text, Loader=yaml.CSafeLoader)
    assert node is not None
    written = plain(node)
    for section in ("quantities", "sensors", "readings", "lines", "rules", "paths", "outputs"):
        assert list(getattr(scheme, section)) == list(written.get(section, ())), section
    for name, rule in scheme.rules.items():
        entry = written["rules"][name]
        assert rule.watched == entry["watches"]
        holds_as_written(rule.trips, entry["trips"], scheme.scan_us)
        holds_as_written(rule.clears, entry["clears"], scheme.scan_us)
        assert rule.manual is (entry.get("reset") == "manual")
        assert rule.reset_by == entry.get("reset_by", "")
        assert rule.overridden_by == entry.get("overridden_by", "")
    for name, output in scheme.outputs.items():
        entry = written["outputs"][name]
        assert (str(output.contact), str(output.runs_when)) == (entry["contact"], entry["runs_when"])
    assert len({c.requirement for c in (*scheme.claims, *scheme.not_protected)}) == len(written.get("requirements", ()))
    assert [case.name for case in scheme.cases] == list(written.get("cases", ()))


@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_mangled_schemes_are_read_whole_or_refused_with_a_place(chunk: int) -> None:
    rng = random.Random(20_000 + chunk)
    outcomes: Counter[str] = Counter()
    refused: list[SchemeError] = []
    for _ in range(COPIES // CHUNKS):
        text = mangled(rng, rng.choice(sources()))
        start = time.process_time()
        try:
            scheme = loads(text)
        except SchemeError as error:
            refused.append(error)
        if refused:
            refusal = refused.pop()
            outcomes["refused"] += 1
            assert refusal.findings
            lines = len(re.split(r"\r\n|[\n\r\x85\u2028\u2029]", text))
            for finding in refusal.findings:
                assert finding.ident in READER_FINDINGS
                assert 1 <= finding.place.line <= lines + 1, finding
                assert finding.place.column >= 1
        else:
            outcomes["read"] += 1
            held_against_its_text(scheme, text)
        assert time.process_time() - start < LONGEST_S
    print(f"chunk {chunk}: {dict(outcomes)}")
    assert outcomes["refused"] > outcomes["read"] > 0
