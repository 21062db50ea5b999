"""Rules for every test run."""

from __future__ import annotations

import os

import pytest


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """With SALTLOFT_NO_SKIPS=1 a skipped test fails the run: what should run must run."""
    if os.environ.get("SALTLOFT_NO_SKIPS") != "1":
        return
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is not None and reporter.stats.get("skipped"):
        reporter.write_line(f"{len(reporter.stats['skipped'])} skipped tests, none allowed", red=True)
        session.exitstatus = 1
