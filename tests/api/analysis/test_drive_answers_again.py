"""A finding that a drive is silent stands while it is silent, and not for hours after."""

# ruff: noqa: ANN401 - the small site makes readings of any kind
from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from api.analysis.silences import ANSWERS_AGAIN_MS, STEADY_MS, ended_by_answers
from api.analysis.site_pass import analyse_site
from api.analytics.finding import Evidence, Finding, Kind, Priority
from api.answers.pump_row import pump_row
from api.answers.source import Source
from api.store.stored_finding import State
from collector.clock import Clock
from collector.reading import FailureKind, PollFailure, Reading
from dashboards.views import FindingCard

PUMP = "Lap pool 1"
SCAN_MS = 10_000
LAST = 1_783_728_000_000  # the end of the small site's readings


def silence(share: float) -> Finding:
    return Finding(
        pump=PUMP,
        kind=Kind.NO_REPLY,
        first_utc_ms=0,
        last_utc_ms=LAST,
        active=True,
        priority=Priority.SOON,
        evidence=(Evidence(name="failed_scans_share", value=share),),
    )


@pytest.mark.parametrize(("share", "needed_ms"), [(1.0, ANSWERS_AGAIN_MS), (0.3, STEADY_MS)])
def test_a_silence_ends_with_answers_and_a_line_that_drops_scans_with_steady_ones(
    share: float, needed_ms: int
) -> None:
    still, over = LAST + needed_ms, LAST + needed_ms + 1
    assert ended_by_answers([silence(share)], still, still)[0].active
    assert not ended_by_answers([silence(share)], over, over)[0].active


def test_time_without_an_answer_ends_no_silence() -> None:
    assert ended_by_answers([silence(1.0)], LAST - 1, LAST + STEADY_MS)[0].active


def scans(source: Source, first: int, count: int, lost: Any) -> None:
    """Append scans from the ``first`` on, after the site's last reading; ``lost`` says which failed."""
    begin = LAST + SCAN_MS
    for place in range(first, first + count):
        time = begin + place * SCAN_MS
        if lost(place):
            failure = PollFailure(pump=PUMP, time_utc_ms=time, kind=FailureKind.NO_REPLY, sentence="silence")
            source.store.record_failures([failure])
        else:
            source.store.append([Reading(pump=PUMP, time_utc_ms=time, speed_rpm=2200.0)])
    end = begin + (first + count) * SCAN_MS
    clock = Clock(simulated_start_ms=end, real_start_ms=0, speed_up=1e-9)
    analyse_site(source.site, source.store, source.api_store, clock)


def state(source: Source) -> State:
    (found,) = [item for item in source.api_store.findings(PUMP) if item.finding.kind is Kind.NO_REPLY]
    return found.state


def card(source: Source) -> FindingCard:
    (found,) = [item for item in pump_row(source, source.site.pump(PUMP)).findings if item.kind == "no_reply"]
    return found


def test_a_drive_that_answers_again_is_back_to_normal_in_the_next_passes(analysed: Source) -> None:
    scans(analysed, 0, 60, lambda _: True)
    assert state(analysed) is State.ACTIVE
    assert card(analysed).is_seen_now
    scans(analysed, 60, 5, lambda _: False)
    assert state(analysed) is State.RETURNED_TO_NORMAL


def test_between_the_answer_and_the_next_pass_the_page_does_not_call_it_silent(analysed: Source) -> None:
    scans(analysed, 0, 60, lambda _: True)
    analysed.store.append([Reading(pump=PUMP, time_utc_ms=LAST + 100 * SCAN_MS, speed_rpm=2200.0)])
    assert not card(analysed).is_seen_now


def test_a_drive_that_keeps_dropping_out_says_what_share_was_lost(analysed: Source) -> None:
    scans(analysed, 0, 360, lambda place: place % 3 == 0)
    found = card(analysed)
    assert found.state == "active"
    assert not found.is_seen_now
    # A third of 360 scans; the hour holds one older reading beside them at most.
    assert found.lost_share == pytest.approx(1 / 3, abs=0.005)
    assert found.lost_over_h == 1


@pytest.mark.parametrize(("now", "is_seen"), [(21, True), (0, False), (None, True)])
def test_a_fault_code_is_held_against_the_newest_reading(
    analysed: Source, now: int | None, is_seen: bool
) -> None:
    times = [LAST + (place + 1) * SCAN_MS for place in range(20)]
    rows = [Reading(pump=PUMP, time_utc_ms=time, speed_rpm=2200.0, fault_code=21) for time in times]
    newest = replace(rows[-1], time_utc_ms=times[-1] + SCAN_MS, fault_code=now)
    analysed.store.append([*rows, newest])
    analyse_site(analysed.site, analysed.store, analysed.api_store, analysed.clock)
    found = pump_row(analysed, analysed.site.pump(PUMP)).findings
    assert [item.is_seen_now for item in found if item.kind == "drive_fault"] == [is_seen]
