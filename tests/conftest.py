"""What holds for every test."""

from __future__ import annotations

import os
import signal

import pytest

LONG = ("tests/end_to_end/", "tests/fleet_odd/", "tests/api/commands/", "tests/collector/listening/")
"""Rooms with few and long files. They are begun first: a long file that is begun last runs alone."""


if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A shell starts what runs in the background deaf to Ctrl-C, and children inherit it.
    signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the rooms that take longest."""
    items.sort(key=lambda item: next((k for k, room in enumerate(LONG) if room in item.nodeid), len(LONG)))


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail a run of continuous integration in which a test was skipped: no part may be missing there."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    skipped = reporter.stats.get("skipped", []) if reporter else []
    if os.environ.get("CI") == "true" and skipped and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
        for report in skipped:
            reporter.write_line(f"skipped although nothing may be missing here: {report.nodeid}", red=True)
