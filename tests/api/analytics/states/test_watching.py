"""What cannot be watched for is said, and what is said to be watched for is found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from api.analytics.finding import Kind
from api.analytics.states import not_watched
from api.analytics.states.hunting import hunting
from api.analytics.states.track import track_of
from tests.api.analytics.states.hand_made import CURVE, FACTS, between, readings

SHEET = ((0.0, 20.0, 600.0), (10.0, 18.75, 850.0), (20.0, 15.0, 1100.0))


def kinds(curve: object, **more: object) -> set[Kind]:
    facts = replace(FACTS, **more)  # type: ignore[arg-type]
    return {kind for item in not_watched(curve, facts) for kind in item.kinds}  # type: ignore[arg-type]


def swings_seen(interval_s: float, period_s: float, starts: int = 12) -> float:
    """Return of how many of these swings, begun at other times each, one was found [-]."""
    seen = 0
    for turn in np.linspace(0.0, 2 * np.pi, starts, endpoint=False):
        frame = readings(3, interval_s)
        during = between(frame, 3600, 7200)
        elapsed = (frame.index.to_numpy() - frame.index[0])[during] / 1000
        frame.loc[during, "speed_rpm"] *= 1 + 0.05 * np.sin(2 * np.pi * elapsed / period_s + turn)
        seen += bool(hunting(track_of(frame, FACTS)))
    return seen / starts


def test_with_an_own_curve_and_close_readings_all_is_watched() -> None:
    assert not_watched(CURVE, replace(FACTS, interval_s=10.0)) == ()


def test_without_any_curve_no_flow_is_not_watched() -> None:
    assert kinds(None) == {Kind.DRY_RUNNING, Kind.CLOSED_DISCHARGE}


def test_starts_of_a_motor_of_unknown_size_are_not_watched_before_its_habit_is_known() -> None:
    unknown = {"rated_power_w": None, "data_sheet": SHEET}
    assert kinds(None, **unknown) == {Kind.REPEATED_STARTS}
    assert kinds(None, **unknown, starts_per_hour_limit=8.0) == set()
    assert kinds(CURVE, **unknown) == set()


def test_a_data_sheet_with_power_is_curve_enough() -> None:
    assert kinds(None, data_sheet=SHEET) == set()


@pytest.mark.parametrize(("interval_s", "shorter_than_s"), [(30.0, 90.0), (60.0, 180.0)])
def test_swings_faster_than_the_readings_can_show_are_said_not_to_be_watched(
    interval_s: float, shorter_than_s: float
) -> None:
    (swings,) = not_watched(CURVE, replace(FACTS, interval_s=interval_s))
    assert (swings.kinds, swings.shorter_than_s) == ((Kind.HUNTING,), shorter_than_s)


def test_readings_five_minutes_apart_show_no_swing_at_all() -> None:
    (swings,) = not_watched(CURVE, replace(FACTS, interval_s=300.0))
    assert swings.shorter_than_s is None


@pytest.mark.parametrize("interval_s", [10.0, 30.0, 60.0])
@pytest.mark.parametrize("readings_a_swing", [3.0, 3.1, 3.4, 3.7, 4.0, 5.0, 6.4])
def test_every_swing_that_is_said_to_be_watched_is_found(interval_s: float, readings_a_swing: float) -> None:
    assert swings_seen(interval_s, readings_a_swing * interval_s) == 1.0


@pytest.mark.parametrize("readings_a_swing", [1.0, 2.0])
def test_at_a_whole_reading_or_two_a_swing_it_would_not_be_sure_to_show(readings_a_swing: float) -> None:
    """Sampling theorem (Shannon 1949, from memory): what is faster than two samples a period has no shape."""
    assert swings_seen(60.0, readings_a_swing * 60.0) < 1.0
