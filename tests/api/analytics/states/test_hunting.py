"""Hunting: a regular swing of 3 % for half an hour; noise, ramps and restless demand are none."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from api.analytics.states.hunting import hunting
from api.analytics.states.track import track_of
from tests.api.analytics.states.hand_made import CURVE, FACTS, between, readings


def swinging(
    amplitude: float, period_s: float, minutes: float = 60.0, interval_s: float = 10.0
) -> pd.DataFrame:
    frame = readings(3, interval_s)
    during = between(frame, 3600, 3600 + minutes * 60)
    elapsed = (frame.index.to_numpy() - frame.index[0])[during] / 1000
    frame.loc[during, "speed_rpm"] *= 1 + amplitude * np.sin(2 * np.pi * elapsed / period_s)
    frame["power_w"] = CURVE.power_w(frame["flow_m3h"], frame["speed_rpm"])
    return frame


def count(frame: pd.DataFrame) -> int:
    return len(hunting(track_of(frame, FACTS)))


@pytest.mark.parametrize("period_s", [45.0, 120.0, 400.0])
def test_a_swing_of_five_percent_is_found_at_any_period_of_a_loop(period_s: float) -> None:
    assert count(swinging(0.05, period_s)) == 1


@pytest.mark.parametrize("interval_s", [1.0, 10.0, 30.0, 60.0])
def test_a_swing_is_found_at_every_poll_rate_that_resolves_it(interval_s: float) -> None:
    assert count(swinging(0.05, 300.0, interval_s=interval_s)) == 1


@pytest.mark.parametrize(("amplitude", "expected"), [(0.024, 0), (0.036, 1)])
def test_the_limit_is_three_percent(amplitude: float, expected: int) -> None:
    assert count(swinging(amplitude, 120.0)) == expected


@pytest.mark.parametrize(("minutes", "expected"), [(24.0, 0), (40.0, 1)])
def test_it_has_to_last_for_half_an_hour(minutes: float, expected: int) -> None:
    assert count(swinging(0.05, 120.0, minutes)) == expected


def test_the_period_and_swing_can_be_checked_on_the_chart() -> None:
    (one,) = hunting(track_of(swinging(0.05, 120.0), FACTS))
    evidence = {item.name: item.value for item in one.evidence}
    assert evidence["period_s"] == pytest.approx(120.0, rel=0.1)
    assert evidence["speed_swing_share"] == pytest.approx(0.05, rel=0.15)


def test_a_setpoint_step_and_a_ramp_are_no_hunting() -> None:
    frame = readings(3)
    frame.loc[between(frame, 3600, 7200), "speed_rpm"] *= 0.7
    ramp = between(frame, 7200, 9000)
    frame.loc[ramp, "speed_rpm"] *= np.linspace(0.7, 1.0, int(ramp.sum()))
    assert count(frame) == 0


def test_demand_without_a_rhythm_is_no_hunting() -> None:
    frame = readings(6)
    steps = np.random.default_rng(4).normal(0, 0.06, len(frame) // 12 + 1)
    frame["speed_rpm"] *= 1 + np.repeat(steps, 12)[: len(frame)]
    assert count(frame) == 0
