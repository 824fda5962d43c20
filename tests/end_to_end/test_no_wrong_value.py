"""The main job on bad lines: what is stored is what the drives held, register by register, or nothing.

A lost value is allowed and counted; a wrong one is not. What is wrong with the lines, and how one knows what
a drive held, stands in ``bad_lines``. ``python -m tests.bench_no_wrong_value`` is the same trial, ten
thousand scans long on each line.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from collector.bus.late_replies import LateReplies
from simulator.lines import Disturbance
from tests.end_to_end.bad_lines import (
    KINDS_OF_LINE,
    TIMEOUT_S,
    Stored,
    answering,
    done_on,
    drives_on,
    poll,
    try_bad_lines,
)

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")

SCANS = 1_000
SHARE = 0.015
"""More than in the long trial, so that every kind comes often in few scans: about twenty times."""
AT_LEAST = 5
OFTEN_LATE = Disturbance(late=0.1, late_s=1.5 * TIMEOUT_S)


def test_nothing_wrong_is_ever_stored(tmp_path: Path) -> None:
    trial = try_bad_lines(tmp_path, SCANS, SHARE)
    print(trial.in_words())
    assert trial.stored.wrong == []
    assert trial.rare_kinds(AT_LEAST) == {}
    assert [bus for bus in KINDS_OF_LINE if trial.scans[bus] < SCANS] == []
    assert [bus for bus in KINDS_OF_LINE if trial.stored.values[bus] <= 4 * SCANS] == []


@pytest.mark.parametrize("bus", ["serial", "gateway"])
def test_a_collector_that_took_late_answers_would_be_found_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, bus: str
) -> None:
    """The comparison can fail: without its guard the collector stores what another request found.

    One drive is alone on its line here. Where others are asked in between, an old answer mostly comes in
    their turn and is thrown away for its unit number, guard or no guard.
    """
    monkeypatch.setattr(LateReplies, "may_come", lambda *_: False)
    monkeypatch.setattr(LateReplies, "quiet_left_s", lambda *_: 0.0)
    drives = drives_on(bus, "D")
    with answering(drives, OFTEN_LATE, Disturbance()) as lines:
        poll(tmp_path, lines, drives, 300)
    assert Stored(tmp_path, drives).wrong


@pytest.mark.parametrize("bus", ["serial", "gateway"])
def test_the_same_line_does_the_collector_as_it_is_no_harm(tmp_path: Path, bus: str) -> None:
    drives = drives_on(bus, "D")
    with answering(drives, OFTEN_LATE, Disturbance()) as lines:
        poll(tmp_path, lines, drives, 100)
        assert done_on(lines[bus])["late"] > 1
    stored = Stored(tmp_path, drives)
    assert stored.wrong == []
    assert stored.values
