"""A pump without a curve says why, and no pump that could have one goes without for ever."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.codes import NOT_ASSESSABLE_REASONS
from api.analytics.curve import LEAST_HOURS, baseline, learn_curve
from api.analytics.drift import slow_findings
from api.analytics.facts import PumpFacts, ServiceEvent
from api.analytics.finding import Kind
from api.analytics.hours import hour_rows
from api.analytics.no_curve import why_no_curve
from api.analytics.observations import observations, running_hours
from api.analytics.residuals import residuals
from api.analytics.spans import DAY_MS

Pump = Callable[..., pd.DataFrame]
CURVE_NAMES = ["speed_rpm", "flow_m3h", "head_m", "power_w"]


def only_while(frame: pd.DataFrame, on: np.ndarray) -> pd.DataFrame:
    """The pump at rest outside the mask: nothing moves and the drive draws a little."""
    rest = frame.copy()
    rest.loc[~on, CURVE_NAMES] = [0.0, 0.0, 0.0, 8.0]
    return rest


def minute_of_day(frame: pd.DataFrame) -> np.ndarray:
    return (frame.index.to_numpy() % DAY_MS) / 60_000


def reason(frame: pd.DataFrame, facts: PumpFacts) -> str:
    hours = hour_rows(frame, facts)
    assert learn_curve(hours, facts) is None
    code = why_no_curve(hours, facts)
    assert code in NOT_ASSESSABLE_REASONS
    return code


@pytest.mark.parametrize(("days", "has_curve"), [(LEAST_HOURS - 1, False), (LEAST_HOURS, True)])
def test_an_hour_a_day_gives_a_curve_once_there_are_enough_of_them(
    make_pump: Pump, measured: PumpFacts, days: int, has_curve: bool
) -> None:
    frame = make_pump(days, step_s=300)
    minute = minute_of_day(frame)
    hours = hour_rows(only_while(frame, (minute >= 480) & (minute < 541)), measured)
    assert (learn_curve(hours, measured) is not None) is has_curve
    assert has_curve or why_no_curve(hours, measured) == "baseline_too_short"


def test_what_follows_a_stretched_baseline_does_not_move_it(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(60, step_s=300)
    minute = minute_of_day(frame)
    hours = hour_rows(only_while(frame, (minute >= 480) & (minute < 541)), measured)
    day = (hours.index - hours.index[0]) // DAY_MS
    first, last = (learn_curve(hours[day < days], measured) for days in (LEAST_HOURS, 60))
    assert first is not None
    assert first == last
    full = [baseline(hours[day < days], measured) for days in (LEAST_HOURS, LEAST_HOURS + 1)]
    assert [one is not None and one.is_full for one in full] == [False, True]


@pytest.mark.parametrize(("on_min", "off_min"), [(5, 5), (10, 50), (4, 6)])
def test_a_pump_that_cycles_all_day_is_known_by_its_runs(
    make_pump: Pump, measured: PumpFacts, true_head: tuple[float, float, float], on_min: int, off_min: int
) -> None:
    frame = make_pump(10, step_s=60)
    hours = hour_rows(only_while(frame, minute_of_day(frame) % (on_min + off_min) < on_min), measured)
    curve = learn_curve(hours, measured)
    assert curve is not None
    a, b, c = true_head
    assert curve.head_m(20, 2450) == pytest.approx(a * 2450**2 + b * 2450 * 20 + c * 400, rel=0.005)
    assert len(observations(hours)) <= running_hours(hours)


@pytest.mark.parametrize("step_s", [900, 1200, 1800, 3600])
def test_a_sparse_log_gives_a_curve_and_a_loss_is_found_in_it(
    make_pump: Pump, measured: PumpFacts, step_s: int
) -> None:
    facts = replace(measured, interval_s=float(step_s))

    def worn(day: np.ndarray) -> np.ndarray:
        return np.where(day >= 45, 0.95, 1.0)

    frame = make_pump(70, step_s=step_s, head_factor=worn, power_factor=worn)
    hours = hour_rows(frame, facts)
    found = slow_findings(hours, learn_curve(hours, facts), facts)
    assert Kind.HEAD_LOSS in [one.kind for one in found]


def test_an_hour_of_one_reading_after_a_gap_still_judges_nothing(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = make_pump(2, step_s=60)
    lost = (minute_of_day(frame) % 60 != 30) & (frame.index < frame.index[0] + DAY_MS)
    facts = replace(measured, interval_s=60.0)
    assert observations(hour_rows(frame[~lost], facts)).day.min() == frame.index[0] // DAY_MS + 1


@pytest.mark.parametrize(
    ("name", "factor", "code"),
    [
        ("flow_m3h", 0.0, "flow_reads_zero"),
        ("flow_m3h", -1.0, "flow_has_wrong_sign"),
        ("head_m", 0.0, "head_reads_zero"),
        ("head_m", -1.0, "head_has_wrong_sign"),
        ("power_w", 0.0, "power_reads_zero"),
        ("power_w", -1.0, "power_has_wrong_sign"),
        ("speed_rpm", 0.0, "speed_reads_zero"),
        ("speed_rpm", np.nan, "channel_missing"),
    ],
)
@pytest.mark.parametrize("cycles", [False, True])
def test_a_channel_that_reads_nothing_or_the_wrong_way_is_named(
    make_pump: Pump, measured: PumpFacts, name: str, factor: float, code: str, cycles: bool
) -> None:
    frame = make_pump(10)
    frame = only_while(frame, minute_of_day(frame) % 120 < 80) if cycles else frame
    frame[name] = frame[name] * factor
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert reason(frame, measured) == code


def test_head_that_is_noise_about_zero_reads_zero(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(40)
    frame["head_m"] = np.random.default_rng(1).normal(0, 0.01, len(frame))
    assert reason(frame, measured) == "head_reads_zero"


def test_head_put_right_gives_a_curve_of_the_right_readings_alone(
    make_pump: Pump, measured: PumpFacts, true_head: tuple[float, float, float]
) -> None:
    frame = make_pump(70, head_factor=lambda day: np.where(day < 35, -1.0, 1.0))
    hours = hour_rows(frame, measured)
    learned_from, curve = baseline(hours, measured), learn_curve(hours, measured)
    assert learned_from is not None
    assert curve is not None
    assert learned_from.seen.day.min() == hours.index[0] // DAY_MS + 35
    assert curve.head_coefficients[0] == pytest.approx(true_head[0], rel=0.05)
    few = baseline(hours[hours.index < hours.index[0] + 45 * DAY_MS], measured)
    assert few is not None
    assert not few.is_full


def test_a_head_that_dies_after_the_baseline_raises_no_warning(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(50, head_factor=lambda day: np.where(day < 40, 1.0, 0.0))
    hours = hour_rows(frame, measured)
    curve = learn_curve(hours, measured)
    assert curve is not None
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert len(residuals(hours, curve, measured).day) > 0


def test_runs_of_two_minutes_are_too_short(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(8, step_s=60)
    assert reason(only_while(frame, minute_of_day(frame) % 8 < 2), measured) == "runs_too_short"


def test_readings_that_never_move_are_told_from_few(make_pump: Pump, measured: PumpFacts) -> None:
    still = make_pump(8).assign(speed_rpm=2000.0, flow_m3h=10.0, head_m=8.0, power_w=500.0)
    assert reason(still, measured) == "readings_stand_still"


def test_a_meter_that_is_always_at_its_range_is_named(
    make_pump: Pump, measured: PumpFacts, true_head: tuple[float, float, float]
) -> None:
    frame = make_pump(40, drift=0.0).assign(speed_rpm=2450.0)
    a, b, c = true_head
    head = a * 2450.0**2 + b * 2450.0 * frame["flow_m3h"] + c * frame["flow_m3h"] ** 2
    top = float(frame["flow_m3h"].quantile(0.3))
    shown = np.round(np.minimum(frame["flow_m3h"], top) / 0.02) * 0.02
    assert reason(frame.assign(head_m=head, flow_m3h=shown), measured) == "flow_meter_at_its_range"


def test_a_flow_that_stands_still_while_all_else_moves_is_no_curve(
    make_pump: Pump, measured: PumpFacts
) -> None:
    assert reason(make_pump(40).assign(flow_m3h=14.0), measured) == "flow_stands_still"


def test_head_that_falls_as_speed_rises_at_one_flow_is_never_learned(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = make_pump(40).assign(flow_m3h=14.0)
    falling = frame.assign(head_m=14.0 - 3.0 * (frame["speed_rpm"] / 2450.0) ** 2)
    assert reason(falling, measured) == "flow_stands_still"


def test_few_days_in_wrong_units_are_told_before_they_become_a_curve(
    make_pump: Pump, measured: PumpFacts
) -> None:
    assert reason(make_pump(2).assign(head_m=40.0 / 0.3048), measured) == "units_contradict"


@pytest.mark.parametrize("days", [0, 2])
def test_where_only_time_is_missing_time_is_the_reason(
    make_pump: Pump, measured: PumpFacts, days: int
) -> None:
    frame = make_pump(3)
    event = ServiceEvent(
        time_utc_ms=int(frame.index[0]) + (3 - days) * DAY_MS - 1, kind="impeller_changed", new_baseline=True
    )
    facts = replace(measured, events=(event,))
    assert reason(frame, facts) == ("baseline_too_short" if days else "channel_missing")


def test_flow_that_comes_every_tenth_time_gives_too_few_readings(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = make_pump(8, step_s=60)
    frame.loc[minute_of_day(frame) % 10 != 5, "flow_m3h"] = np.nan
    assert reason(frame, measured) == "too_few_readings"
