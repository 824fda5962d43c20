"""A chart shows many readings as few, and loses neither a spike nor a gap."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.answers.buckets import MOST_POINTS, bucket_width_ms, bucketed_series, hour_series, raw_series

HOUR_MS = 3_600_000


def frame(times: list[int], values: list[float]) -> pd.DataFrame:
    return pd.DataFrame({"head_m": values}, index=pd.Index(times, dtype="int64", name="time_utc_ms"))


def test_a_spike_of_one_reading_stays_visible() -> None:
    values = np.full(100_000, 10.0)
    values[54_321] = 99.0
    series = bucketed_series(frame(list(range(0, 10**9, 10_000)), values.tolist()), "head_m", 600_000)
    assert series.high is not None
    assert series.high.max() == 99.0
    assert series.value.max() < 12.0


def test_a_bucket_without_a_reading_is_a_gap() -> None:
    series = bucketed_series(frame([0, 1_000, 5_000], [1.0, 3.0, 7.0]), "head_m", 2_000)
    assert series.time_utc_ms.tolist() == [0, 2_000, 4_000]
    np.testing.assert_array_equal(series.value, [2.0, np.nan, 7.0])


def test_a_missing_value_is_no_zero() -> None:
    series = bucketed_series(frame([0, 1_000], [np.nan, 4.0]), "head_m", 2_000)
    assert series.value.tolist() == [4.0]


@given(
    st.lists(st.integers(0, 10**7), min_size=1, max_size=60, unique=True).map(sorted),
    st.integers(1, 10**6),
    st.data(),
)
def test_low_and_high_are_those_of_the_readings_and_the_mean_lies_between(
    times: list[int], width_ms: int, data: st.DataObject
) -> None:
    reals = st.floats(-1e3, 1e3)
    values = data.draw(st.lists(reals, min_size=len(times), max_size=len(times)))
    width = max(width_ms, times[-1] // 5000 + 1)
    series = bucketed_series(frame(times, values), "head_m", width)
    assert series.low is not None
    assert series.high is not None
    assert np.nanmin(series.low) == min(values)
    assert np.nanmax(series.high) == max(values)
    seen = np.isfinite(series.value)
    assert (series.low[seen] <= series.value[seen] + 1e-9).all()
    assert (series.value[seen] <= series.high[seen] + 1e-9).all()


def test_raw_readings_have_a_missing_value_in_each_gap() -> None:
    series = raw_series(frame([0, 10, 500, 510], [1.0, 2.0, 3.0, 4.0]), "head_m", gap_ms=100)
    assert series.time_utc_ms.tolist() == [0, 10, 499, 500, 510]
    np.testing.assert_array_equal(series.value, [1.0, 2.0, np.nan, 3.0, 4.0])


def test_hours_are_joined_by_sums_and_their_extremes_stay_exact() -> None:
    hours = pd.DataFrame(
        {
            "head_m_sum": [10.0, 90.0, 0.0],
            "head_m_count": [1.0, 3.0, 0.0],
            "head_m_min": [10.0, 5.0, np.nan],
            "head_m_max": [10.0, 60.0, np.nan],
        },
        index=pd.Index([0, HOUR_MS, 2 * HOUR_MS], name="hour_utc_ms"),
    )
    series = hour_series(hours, "head_m", 2)
    assert series.low is not None
    assert series.high is not None
    np.testing.assert_array_equal(series.value, [25.0, np.nan])
    assert (series.low[0], series.high[0]) == (5.0, 60.0)


@pytest.mark.parametrize("days", [0.1, 1, 8])
def test_no_range_makes_more_points_than_can_be_drawn(days: float) -> None:
    end = int(days * 86_400_000)
    assert end / bucket_width_ms(0, end, 1000.0) <= MOST_POINTS


def test_no_bucket_is_narrower_than_two_readings() -> None:
    assert bucket_width_ms(0, 86_400_000, 300_000.0) >= 600_000
