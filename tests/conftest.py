"""Profiles of Hypothesis, sources for published values, and no silent skip in CI."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

IN_CI = bool(os.environ.get("CI"))

settings.register_profile("quick", max_examples=50, deadline=None, derandomize=False)
settings.register_profile("ci", max_examples=200, deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if IN_CI else "quick")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Refuse a test that claims a published value without naming who published it."""
    nameless = [
        item.nodeid
        for item in items
        for mark in item.iter_markers("published")
        if not (mark.args and isinstance(mark.args[0], str) and mark.args[0].strip())
    ]
    if nameless:
        msg = "published() must name its source: " + ", ".join(nameless)
        raise pytest.UsageError(msg)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):
    """Turn a skip into a failure when CI is set: there, everything a test needs is installed."""
    report = yield
    if IN_CI and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid}: skipped in CI: {report.longrepr}"
    return report
