"""Frozen readings: still for longer than this pump's readings ever are."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from api.analytics.states.frozen import frozen_readings
from api.analytics.states.track import track_of
from tests.api.analytics.states.hand_made import FACTS, between, readings, stopped

CHANNELS = ["speed_rpm", "power_w", "flow_m3h", "head_m"]


def freeze(frame: pd.DataFrame, from_s: float, to_s: float, channels: list[str] = CHANNELS) -> pd.DataFrame:
    during = between(frame, from_s, to_s)
    frame.loc[during, channels] = frame.loc[during, channels].iloc[0].to_numpy()
    return frame


def coarse(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a constant-speed pump on a drive that reports in steps far above its noise."""
    steps = {"speed_rpm": 10.0, "power_w": 100.0, "flow_m3h": 2.0, "head_m": 2.0}
    for name, step in steps.items():
        frame[name] = np.round(frame[name] / step + 0.31) * step
    wander = between(frame, 0, 1e9) & (np.arange(len(frame)) % 720 == 0)
    frame.loc[wander, "power_w"] += 100.0
    return frame


def count(frame: pd.DataFrame) -> int:
    return len(frozen_readings(track_of(frame, FACTS), FACTS))


@pytest.mark.parametrize("interval_s", [1.0, 10.0, 60.0, 300.0])
def test_all_channels_still_for_half_an_hour_is_a_finding(interval_s: float) -> None:
    hours = 4 if interval_s < 300 else 12
    assert count(freeze(readings(hours, interval_s), (hours - 1) * 3600, hours * 3600)) == 1


@pytest.mark.parametrize(("minutes", "expected"), [(28, 0), (32, 1)])
def test_the_limit_is_half_an_hour(minutes: int, expected: int) -> None:
    assert count(freeze(readings(4), 7200, 7200 + minutes * 60)) == expected


def test_a_stopped_pump_may_stand_still() -> None:
    assert count(stopped(readings(6), between(readings(6), 7200, 18000))) == 0


def test_one_channel_that_moves_shows_that_the_drive_lives() -> None:
    assert count(freeze(readings(4), 7200, 14400, CHANNELS[:3])) == 0


def test_coarse_steps_at_constant_speed_rest_by_nature() -> None:
    assert count(coarse(readings(24))) == 0


def test_a_freeze_beyond_the_natural_rest_is_found_even_with_coarse_steps() -> None:
    assert count(freeze(coarse(readings(24)), 43200, 86400)) == 1


@pytest.mark.parametrize(("hours", "expected"), [(23, 0), (25, 1)])
def test_without_a_habit_only_a_whole_day_is_a_freeze(hours: int, expected: int) -> None:
    assert count(freeze(readings(hours, 60.0), 0, hours * 3600 + 1)) == expected


def test_readings_across_a_gap_are_no_rest() -> None:
    frame = freeze(readings(6, 60.0), 10800, 14400)
    assert count(frame[~between(frame, 11400, 13800)]) == 0


def repeating(frame: pd.DataFrame, from_s: float, times: int) -> pd.DataFrame:
    """Return the frame with each value read several times over from then on, as a slow drive has it."""
    places = np.arange(len(frame))
    during = between(frame, from_s, 1e9)
    frame.loc[during, CHANNELS] = frame[CHANNELS].to_numpy()[(places // times * times)[during]]
    return frame


@pytest.mark.parametrize("from_s", [0, 7200])
@pytest.mark.parametrize("times", [2, 3, 6])
def test_values_that_change_every_few_readings_are_no_freeze(times: int, from_s: float) -> None:
    assert count(repeating(readings(6), from_s, times)) == 0


def test_a_freeze_is_found_among_values_that_change_every_few_readings() -> None:
    assert count(freeze(repeating(readings(6), 0, 3), 10800, 14400)) == 1


@pytest.mark.parametrize(("minutes", "expected"), [(45, 0), (60, 1)])
def test_a_few_equal_readings_far_apart_are_no_freeze(minutes: int, expected: int) -> None:
    assert count(freeze(readings(12, 300.0), 36000, 36000 + minutes * 60)) == expected
