"""In CI a skipped check counts as failed: a check that did not run has shown nothing."""

from __future__ import annotations

import os
from collections.abc import Generator
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile("steady", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("steady")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, Any, Any]:
    """Turn a skip into a failure where CI is set."""
    report = yield
    if os.environ.get("CI") and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped, and in CI a skipped check counts as failed"
    return report
