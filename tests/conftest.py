"""What holds for every test."""

from __future__ import annotations

import os

import pytest


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail a run of continuous integration in which a test was skipped: no part may be missing there."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    skipped = reporter.stats.get("skipped", []) if reporter else []
    if os.environ.get("CI") == "true" and skipped and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
        for report in skipped:
            reporter.write_line(f"skipped although nothing may be missing here: {report.nodeid}", red=True)
