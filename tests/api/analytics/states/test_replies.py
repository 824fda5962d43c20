"""No reply: silence and unreliable hours are findings; single losses and unasked hours are not."""

from __future__ import annotations

import numpy as np
import pytest

from api.analytics.finding import Finding
from api.analytics.states import QUIET_S, reply_findings
from tests.api.analytics.states.hand_made import FACTS, START_UTC_MS


def scans(hours: float, interval_s: float = 10.0) -> np.ndarray:
    return START_UTC_MS + np.arange(0, int(hours * 3600), int(interval_s)).astype(np.int64) * 1000


def found(times: np.ndarray, failed: np.ndarray, kind: str = "no_reply") -> list[Finding]:
    return reply_findings([(int(time), kind) for time in times[failed]], times[~failed], FACTS)


def spell(times: np.ndarray, from_s: float, to_s: float) -> np.ndarray:
    elapsed = (times - times[0]) / 1000
    return (elapsed >= from_s) & (elapsed < to_s)


@pytest.mark.parametrize(("seconds", "expected"), [(280, 0), (320, 1)])
def test_five_minutes_of_silence_are_a_finding(seconds: float, expected: int) -> None:
    times = scans(3)
    assert len(found(times, spell(times, 3600, 3600 + seconds))) == expected


@pytest.mark.parametrize(("every", "expected"), [(4, 1), (8, 0)])
def test_a_fifth_of_the_scans_lost_is_a_finding(every: int, expected: int) -> None:
    times = scans(3)
    assert len(found(times, np.arange(len(times)) % every == 0)) == expected


def test_single_lost_replies_are_a_lines_everyday_life() -> None:
    times = scans(24)
    assert found(times, np.random.default_rng(2).random(len(times)) < 0.02) == []


def test_no_failures_no_finding() -> None:
    assert reply_findings([], scans(3), FACTS) == []


def test_a_pump_nobody_asked_is_not_silent() -> None:
    times = scans(6)
    asked = times[~spell(times, 3600, 14400)]
    assert found(asked, spell(asked, 3500, 3600)) == []


def test_silences_of_one_morning_are_one_finding_that_counts_the_scans() -> None:
    times = scans(8)
    failed = spell(times, 3600, 4800) | spell(times, 9000, 9900)
    (one,) = found(times, failed)
    assert {item.name: item.value for item in one.evidence}["failed_scans"] == failed.sum()


def test_it_is_over_when_the_drive_has_answered_for_long_enough() -> None:
    times = scans(10)
    assert not found(times, spell(times, 3600, 4800))[0].active
    assert found(times, spell(times, 34000, 36000))[0].active
    assert QUIET_S[found(times, spell(times, 3600, 4800))[0].kind] < (36000 - 4800)


@pytest.mark.parametrize(
    ("kind", "check"),
    [("no_reply", "drive_has_power"), ("damaged", "bus_termination"), ("no_link", "gateway_or_adapter")],
)
def test_the_way_it_fails_says_what_to_check_first(kind: str, check: str) -> None:
    times = scans(3)
    assert found(times, spell(times, 3600, 7200), kind)[0].checks[0] == check
