"""The step in which a drive shows its speed is read off what it has shown."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import learn_curve
from api.analytics.facts import PumpFacts
from api.analytics.hours import hour_rows
from api.analytics.speed_step import speed_step_rpm

Pump = Callable[..., pd.DataFrame]


def step_of(frame: pd.DataFrame, facts: PumpFacts, rated_speed_rpm: float | None = 2900.0) -> float:
    return speed_step_rpm(hour_rows(frame, facts), rated_speed_rpm)


@pytest.mark.parametrize(
    ("step", "rated"),
    [(29.0, 2900.0), (14.5, 1450.0), (30.0, 2900.0), (15.0, None), (6.0, None), (2.9, 2900.0), (1.0, None)],
    ids=["1 %", "1 % at four poles", "half a hertz", "the same at four poles", "a tenth", "0.1 %", "1 rpm"],
)
def test_a_speed_that_moves_in_steps_shows_them(
    make_pump: Pump, measured: PumpFacts, step: float, rated: float | None
) -> None:
    frame = make_pump(8)
    frame["speed_rpm"] = np.round(frame["speed_rpm"] / step) * step
    assert step_of(frame, measured, rated) == pytest.approx(step)


def test_percent_turned_into_whole_rpm_are_percent_all_the_same(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(8)
    frame["speed_rpm"] = np.round(np.round(frame["speed_rpm"] / 14.5) * 14.5)
    assert step_of(frame, measured, 1450.0) == 14.5


def test_a_step_that_is_not_usual_is_the_smallest_difference_seen(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = make_pump(8)
    frame["speed_rpm"] = np.round(frame["speed_rpm"] / 7.3) * 7.3
    assert step_of(frame, measured, None) == pytest.approx(7.3)


def test_a_speed_that_moves_freely_has_next_to_no_step(make_pump: Pump, measured: PumpFacts) -> None:
    assert step_of(make_pump(8), measured) < 0.1


@pytest.mark.parametrize(
    ("speed_rpm", "step"), [(2436.0, 29.0), (2400.0, 30.0), (2437.0, 1.0), (2436.7, 0.0)]
)
def test_a_speed_of_one_value_may_have_the_coarsest_step_that_fits(
    make_pump: Pump, measured: PumpFacts, speed_rpm: float, step: float
) -> None:
    assert step_of(make_pump(8).assign(speed_rpm=speed_rpm), measured) == step


def test_two_setpoints_are_no_step(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(8)
    frame["speed_rpm"] = np.where(np.arange(len(frame)) % 144 < 72, 1803.4, 2411.7)
    assert step_of(frame, measured) == 0.0


def test_a_stopped_pump_shows_no_step(make_pump: Pump, measured: PumpFacts) -> None:
    assert step_of(make_pump(2).assign(speed_rpm=0.0), measured) == 0.0


def test_the_curve_knows_the_step_its_speed_was_shown_in(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(30)
    frame["speed_rpm"] = np.round(frame["speed_rpm"] / 30) * 30
    curve = learn_curve(hour_rows(frame, measured), measured)
    assert curve is not None
    assert curve.speed_step_rpm == 30.0


def test_a_step_of_speed_moves_head_by_twice_its_share(make_pump: Pump, measured: PumpFacts) -> None:
    # Affinity law of head (ISO 9906, 6.1.2, from memory): head goes with the square of speed.
    curve = learn_curve(hour_rows(make_pump(30), measured), measured)
    assert curve is not None
    flow, speed, step = 20.0, 2450.0, 29.0
    moved = float(curve.head_m(flow * (1 + step / speed), speed + step) / curve.head_m(flow, speed)) - 1
    assert moved == pytest.approx(2 * step / speed, rel=0.01)
