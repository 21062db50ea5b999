"""Rules for every test run."""

from __future__ import annotations

import os
from collections.abc import Callable

import pytest


@pytest.fixture
def figure(record_property: Callable[[str, object], None]) -> Callable[[str], None]:
    """Hands a measured figure to the summary at the end of the run."""

    def tell(words: str) -> None:
        record_property("figure", words)

    return tell


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """What was measured, below the results: a green test says 'under', a figure says how far."""
    told = [
        words
        for results in ("passed", "failed")
        for report in terminalreporter.stats.get(results, [])
        for name, words in report.user_properties
        if name == "figure"
    ]
    if told:
        terminalreporter.section("measured")
        for words in told:
            terminalreporter.write_line(words)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """With SALTLOFT_NO_SKIPS=1 a skipped test fails the run: what should run must run."""
    if os.environ.get("SALTLOFT_NO_SKIPS") != "1":
        return
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is not None and reporter.stats.get("skipped"):
        reporter.write_line(f"{len(reporter.stats['skipped'])} skipped tests, none allowed", red=True)
        session.exitstatus = 1
