"""In CI a skipped check counts as failed: a check that did not run has shown nothing. Counts stand at the end of the
log, whichever process they come from."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Generator, Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

from interlock.garbage import collected_seldom

collected_seldom()  # as in the program: the explorers and the second opinions make many small objects

settings.register_profile("steady", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("steady")

Counted = Callable[[str, Mapping[str, int]], None]
Shown = Callable[[str, str], None]
_COUNTS = "counts: "
_SHOWN = "shown: "
# Files with a single test that takes many seconds; see `--durations=40`.
_LONGEST = [
    Path(__file__).parent / name
    for name in (
        "plan/test_sheet.py",
        "vectors/test_strengthen.py",
        "proof/test_two_stuck.py",
        "proof/test_prove_agrees.py",
        "faults/test_single_faults_agree.py",
        "proof/test_z3_agrees.py",
        "logic/test_compiled_random.py",
        "proof/test_spin_agrees.py",
        "faults/test_cluster.py",
        "handbook/test_in_browser.py",
    )
]
assert all(file.exists() for file in _LONGEST), "a file that is to come first has another name now"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, Any, Any]:
    """Turn a skip into a failure where CI is set."""
    report = yield
    if os.environ.get("CI") and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped, and in CI a skipped check counts as failed"
    return report


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The tests that take longest come first: one of them begun last would keep one core busy and the others idle."""
    order = {file: place for place, file in enumerate(_LONGEST)}
    items.sort(key=lambda item: order.get(item.path, len(order)))


@pytest.fixture
def counted(record_property: Callable[[str, object], None]) -> Counted:
    """`counted(what, counts)`: the counts of all tests that count the same are added up in the log's summary."""

    def record(what: str, counts: Mapping[str, int]) -> None:
        record_property(_COUNTS + what, dict(counts))

    return record


@pytest.fixture
def shown(record_property: Callable[[str, object], None]) -> Shown:
    """`shown(title, line)`: a line of the log's summary, under its title."""

    def record(title: str, line: str) -> None:
        record_property(_SHOWN + title, line)

    return record


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print what the tests have counted and shown: the output of a test that passes is not in the log."""
    totals: dict[str, Counter[str]] = {}
    lines: dict[str, list[str]] = {}
    reports = [r for outcome in ("passed", "failed") for r in terminalreporter.getreports(outcome) if r.when == "call"]
    for report in reports:
        for name, value in report.user_properties:
            if name.startswith(_COUNTS):
                totals.setdefault(name.removeprefix(_COUNTS), Counter()).update(value)
            elif name.startswith(_SHOWN):
                lines.setdefault(name.removeprefix(_SHOWN), []).append(value)
    if totals:
        terminalreporter.section("what was compared")
    for what, counts in sorted(totals.items()):
        terminalreporter.write_line(f"{what}: " + ", ".join(f"{name} {number:,}" for name, number in counts.items()))
    for title, own in sorted(lines.items()):
        terminalreporter.section(title)
        for line in sorted(own):
            terminalreporter.write_line(line)
