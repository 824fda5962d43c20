"""An hour row says exactly what was seen in its hour, and rows add up."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.analytics.facts import PumpFacts
from api.analytics.hours import HOUR_COLUMNS, hour_rows
from api.analytics.spans import HOUR_MS
from collector.quantities import QUANTITY_NAMES

Frame = Callable[..., pd.DataFrame]
FACTS = PumpFacts(pump="P01", interval_s=60)


def steady(make_frame: Frame, minutes: int = 180, **changes: object) -> pd.DataFrame:
    noise = np.random.default_rng(0).normal(0, 0.01, minutes)
    columns: dict[str, object] = {
        **{"speed_rpm": 2000.0, "power_w": 1000.0, "flow_m3h": 12.0},
        **{"head_m": 10.0 + noise, "fluid_temperature_c": 40.0},
    }
    return make_frame(np.arange(minutes) * 60_000, **(columns | changes))


def test_a_kilowatt_for_an_hour_is_a_kilowatt_hour(make_frame: Frame) -> None:
    assert hour_rows(steady(make_frame), FACTS)["energy_kwh"].iloc[1] == pytest.approx(1.0)


def test_twelve_cubic_metres_an_hour_for_an_hour_are_twelve(make_frame: Frame) -> None:
    assert hour_rows(steady(make_frame), FACTS)["volume_m3"].iloc[1] == pytest.approx(12.0)


def test_a_full_hour_is_3600_seconds_seen_and_running(make_frame: Frame) -> None:
    row = hour_rows(steady(make_frame), FACTS).iloc[1]
    assert (row["seconds_seen"], row["seconds_running"]) == (3600.0, 3600.0)


def test_nothing_is_carried_across_a_gap(make_frame: Frame) -> None:
    frame = steady(make_frame).drop(index=range(70 * 60_000, 101 * 60_000, 60_000))
    row = hour_rows(frame, FACTS).iloc[1]
    assert row["seconds_seen"] == 3600 - 32 * 60
    assert row["energy_kwh"] == pytest.approx((3600 - 32 * 60) / 3600)


@pytest.mark.parametrize(("apart_s", "seen_s"), [(300, 300.0), (301, 0.0)])
def test_three_hundred_seconds_between_minute_readings_is_the_longest_step(
    make_frame: Frame, apart_s: int, seen_s: float
) -> None:
    frame = make_frame([0, apart_s * 1000], speed_rpm=2000.0, power_w=900.0)
    assert hour_rows(frame, FACTS)["seconds_seen"].sum() == seen_s


def test_hourly_readings_are_joined_when_hourly_is_usual(make_frame: Frame) -> None:
    frame = make_frame(np.arange(5) * HOUR_MS + 1_800_000, power_w=500.0, speed_rpm=1500.0)
    assert hour_rows(frame, PumpFacts(pump="P01"))["energy_kwh"].sum() == pytest.approx(2.0)


def test_a_step_over_the_hour_is_split_at_the_hour(make_frame: Frame) -> None:
    frame = make_frame([HOUR_MS - 60_000, HOUR_MS + 180_000], power_w=[0.0, 4000.0], speed_rpm=2000.0)
    rows = hour_rows(frame, FACTS)
    assert rows["seconds_seen"].tolist() == [60.0, 180.0]
    assert rows["energy_kwh"].tolist() == pytest.approx([500 * 60 / 3.6e6, 2500 * 180 / 3.6e6])


def test_energy_for_the_ratio_counts_only_while_flow_is_known(make_frame: Frame) -> None:
    frame = steady(make_frame)
    frame.iloc[60:121, frame.columns.get_loc("flow_m3h")] = np.nan
    row = hour_rows(frame, FACTS).iloc[1]
    assert row["energy_kwh"] == pytest.approx(1.0)
    assert (row["paired_energy_kwh"], row["paired_volume_m3"]) == (0.0, 0.0)


def test_a_start_is_a_beginning_between_two_readings(make_frame: Frame) -> None:
    speed = np.where((np.arange(180) // 20) % 2 == 0, 0.0, 1500.0)
    assert hour_rows(steady(make_frame, speed_rpm=speed), FACTS)["starts"].sum() == 4


def test_the_drives_counter_finds_starts_between_readings(make_frame: Frame) -> None:
    counter = np.where(np.arange(180) < 100, 7.0, 10.0)
    assert hour_rows(steady(make_frame, starts=counter), FACTS)["starts"].tolist() == [0.0, 3.0, 0.0]


def test_a_counter_that_was_reset_counts_no_starts(make_frame: Frame) -> None:
    counter = np.where(np.arange(180) < 100, 7.0, 0.0)
    assert hour_rows(steady(make_frame, starts=counter), FACTS)["starts"].sum() == 0


def test_the_first_two_minutes_after_a_start_judge_nothing(make_frame: Frame) -> None:
    speed = np.where(np.arange(180) < 60, 0.0, 2000.0)
    row = hour_rows(steady(make_frame, speed_rpm=speed), FACTS).iloc[1]
    assert (row["readings"], row["n_trusted"]) == (60, 58)


def test_the_reading_before_a_stop_judges_nothing(make_frame: Frame) -> None:
    speed = np.where(np.arange(180) < 90, 2000.0, 0.0)
    assert hour_rows(steady(make_frame, speed_rpm=speed), FACTS)["n_trusted"].iloc[1] == 29


@pytest.mark.parametrize("channel", ["speed_rpm", "power_w", "flow_m3h", "head_m"])
def test_a_reading_without_all_four_channels_judges_nothing(make_frame: Frame, channel: str) -> None:
    frame = steady(make_frame)
    frame.iloc[80, frame.columns.get_loc(channel)] = np.nan
    assert hour_rows(frame, FACTS)["n_trusted"].iloc[1] <= 59


def test_readings_frozen_for_an_hour_judge_nothing(make_frame: Frame) -> None:
    head = np.where(np.arange(300) < 100, np.random.default_rng(1).normal(10, 0.1, 300), 10.0)
    rows = hour_rows(steady(make_frame, 300, head_m=head), FACTS)
    assert rows["n_trusted"].tolist()[2:] == [0.0, 0.0, 0.0]


def test_readings_equal_for_less_than_an_hour_still_judge(make_frame: Frame) -> None:
    head = np.random.default_rng(1).normal(10, 0.1, 180)
    head[60:119] = 10.0
    assert hour_rows(steady(make_frame, head_m=head), FACTS)["n_trusted"].iloc[1] == 60


def test_sums_of_regressors_make_the_hour_an_exact_observation_of_the_model(
    make_pump: Frame, true_head: tuple[float, ...], true_power: tuple[float, ...]
) -> None:
    frame = make_pump(days=2)
    n, q = frame["speed_rpm"], frame["flow_m3h"]
    frame["head_m"] = true_head[0] * n**2 + true_head[1] * n * q + true_head[2] * q**2
    d, e, f, g, h = true_power
    frame["power_w"] = d * n**3 + e * n**2 * q + f * n * q**2 + g * n + h
    row = hour_rows(frame, FACTS).iloc[20]
    head = np.array(true_head) @ row[["sum_n2", "sum_nq", "sum_q2"]].to_numpy()
    power = np.array(true_power) @ row[["sum_n3", "sum_n2q", "sum_nq2", "sum_n", "n_trusted"]].to_numpy()
    assert head == pytest.approx(row["sum_h"], rel=1e-12)
    assert power == pytest.approx(row["sum_p"], rel=1e-12)


def test_an_empty_frame_gives_no_rows_but_all_columns(make_frame: Frame) -> None:
    rows = hour_rows(make_frame([]), FACTS)
    assert len(rows) == 0
    assert tuple(rows.columns) == HOUR_COLUMNS


def test_a_lone_reading_is_counted_but_proves_no_time(make_frame: Frame) -> None:
    row = hour_rows(make_frame([5], power_w=700.0), FACTS).iloc[0]
    assert (row["readings"], row["seconds_seen"], row["power_w_max"]) == (1.0, 0.0, 700.0)


def test_a_spike_of_one_reading_stays_visible(make_frame: Frame) -> None:
    frame = steady(make_frame)
    frame.iloc[75, frame.columns.get_loc("power_w")] = 9999.0
    assert hour_rows(frame, FACTS)["power_w_max"].tolist() == [1000.0, 9999.0, 1000.0]


@pytest.mark.parametrize("joined", [False, True])
def test_an_hour_of_a_gap_has_no_row_and_a_joined_one_has(make_frame: Frame, joined: bool) -> None:
    frame = make_frame(np.array([0.5, 1.5, 9.5, 10.5]) * HOUR_MS, speed_rpm=2000.0, power_w=900.0)
    facts = PumpFacts(pump="P01", interval_s=3 * 3600 if joined else 3600)
    hours = (hour_rows(frame, facts).index // HOUR_MS).tolist()
    assert hours == (list(range(11)) if joined else [0, 1, 9, 10])


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), cut=st.integers(1, 8))
def test_an_hour_renewed_from_its_neighbourhood_equals_the_hour_from_all_readings(
    seed: int, cut: int
) -> None:
    rng = np.random.default_rng(seed)
    times = np.sort(rng.choice(10 * 3600, 900, replace=False)) * 1000
    values = {name: rng.uniform(0, 100, 900) for name in ("power_w", "flow_m3h", "head_m", "starts")}
    frame = pd.DataFrame(np.nan, index=pd.Index(times, name="time_utc_ms"), columns=list(QUANTITY_NAMES))
    frame = frame.assign(**values, speed_rpm=np.where(rng.random(900) < 0.9, 2000.0, 0.0))
    start = cut * HOUR_MS
    near = frame[(times >= start - HOUR_MS) & (times < start + 2 * HOUR_MS)]
    pd.testing.assert_series_equal(hour_rows(near, FACTS).loc[start], hour_rows(frame, FACTS).loc[start])
