"""Another control mode is priced from the own curve, for the same water, and only where that is known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import Curve, learn_curve
from api.analytics.energy.control_modes import Mode, least_seen_head_m, other_control
from api.analytics.energy.duties import Duties, duties, speed_for_rpm
from tests.api.analytics.energy.conftest import FACTS, constant, held, proportional


def energy(hours: pd.DataFrame) -> float:
    return float(hours["energy_kwh"].sum())


def seen(curve: Curve, hours: pd.DataFrame) -> Duties:
    return duties(hours, curve)


def test_the_speed_for_a_duty_gives_that_head_back(wide_curve: Curve) -> None:
    flow, head = np.array([12.0, 18.0, 25.0]), np.array([6.0, 9.0, 11.0])
    assert wide_curve.head_m(flow, speed_for_rpm(wide_curve, flow, head)) == pytest.approx(head, rel=1e-9)


def test_a_head_that_no_speed_reaches_has_no_speed(wide_curve: Curve) -> None:
    assert np.isnan(speed_for_rpm(wide_curve, 10.0, -50.0))


def test_proportional_pressure_costs_what_the_same_pump_would_have_drawn_under_it(wide_curve: Curve) -> None:
    told = other_control(wide_curve, seen(wide_curve, held(21, 7, constant)), Mode.PROPORTIONAL_PRESSURE)
    assert told is not None
    assert told.counted_share > 0.95
    truth = energy(held(21, 7, proportional)) / energy(held(21, 7, constant))
    assert told.energy_kwh / told.as_it_was_kwh == pytest.approx(truth, rel=0.01)


def test_constant_pressure_costs_what_it_would_have_and_is_dearer(wide_curve: Curve) -> None:
    told = other_control(
        wide_curve, seen(wide_curve, held(21, 7, proportional)), Mode.CONSTANT_PRESSURE, 10.0
    )
    assert told is not None
    truth = energy(held(21, 7, constant)) / energy(held(21, 7, proportional))
    assert told.energy_kwh / told.as_it_was_kwh == pytest.approx(truth, rel=0.01)
    assert told.saving_kwh < 0
    assert told.short_share == 0


def test_a_pump_that_has_lost_head_keeps_its_loss_under_the_other_mode(wide_curve: Curve) -> None:
    told = other_control(
        wide_curve, seen(wide_curve, held(21, 7, constant, lost=0.05)), Mode.PROPORTIONAL_PRESSURE
    )
    assert told is not None
    truth = energy(held(21, 7, proportional, lost=0.05)) / energy(held(21, 7, constant, lost=0.05))
    assert told.energy_kwh / told.as_it_was_kwh == pytest.approx(truth, rel=0.01)


def test_a_lower_setpoint_than_was_ever_seen_is_said_to_be_short_of_head(wide_curve: Curve) -> None:
    told = other_control(wide_curve, seen(wide_curve, held(21, 7, constant)), Mode.CONSTANT_PRESSURE, 8.0)
    assert told is not None
    assert told.saving_kwh > 0
    assert told.short_share == pytest.approx(1.0)


def test_the_least_seen_head_never_costs_more_and_is_never_short(wide_curve: Curve) -> None:
    both = pd.concat([held(14, 7, constant), held(21, 7, proportional)])
    told = other_control(wide_curve, seen(wide_curve, both), Mode.LEAST_SEEN)
    assert told is not None
    assert told.saving_kwh > 0
    assert told.short_share == 0


def test_the_least_head_seen_with_a_flow_or_more_is_enough_for_it() -> None:
    flow = np.array([5.0, 10.0, 20.0, 10.0])
    some = Duties(
        flow_m3h=flow,
        head_m=np.array([9.0, 4.0, 6.0, 8.0]),
        speed_rpm=flow,
        energy_kwh=flow,
        volume_m3=flow,
        judged_share=1.0,
    )
    assert least_seen_head_m(some).tolist() == [4.0, 4.0, 6.0, 4.0]


def test_hours_outside_the_learned_region_are_not_priced() -> None:
    narrow = learn_curve(held(0, 30, constant), FACTS)
    assert narrow is not None
    week = held(42, 7, constant)
    told = other_control(narrow, duties(week, narrow), Mode.PROPORTIONAL_PRESSURE)
    assert told is None or told.counted_share < 0.7


def test_a_week_without_duties_is_not_priced(wide_curve: Curve) -> None:
    empty = duties(held(21, 7, constant).iloc[:0], wide_curve)
    assert empty.judged_share == 0
    assert other_control(wide_curve, empty, Mode.CONSTANT_PRESSURE) is None
