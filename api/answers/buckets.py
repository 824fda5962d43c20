"""Many readings drawn as few: buckets of time that keep the smallest and the largest."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from dashboards.views import FloatArray, TimeArray, TrendSeries

MOST_POINTS: Final = 2000
"""A chart is at most this wide in points; more cannot be seen and costs the reader's time."""
GAP_INTERVALS: Final = 3.5


def raw_series(frame: pd.DataFrame, quantity: str, gap_ms: float) -> TrendSeries:
    """Return every reading of a quantity, with a missing value inside each gap."""
    times = frame.index.to_numpy(dtype=np.int64)
    gaps = np.flatnonzero(np.diff(times) > gap_ms) + 1
    return TrendSeries(
        quantity=quantity,
        time_utc_ms=np.insert(times, gaps, times[gaps] - 1),
        value=np.insert(frame[quantity].to_numpy(dtype=np.float64), gaps, np.nan),
    )


def bucketed_series(frame: pd.DataFrame, quantity: str, width_ms: int) -> TrendSeries:
    """Return the mean of each bucket, labelled at its start, with its smallest and largest reading."""
    values = frame[quantity].to_numpy(dtype=np.float64)
    present = np.isfinite(values)
    times, places = _buckets(frame.index.to_numpy(dtype=np.int64), width_ms)
    where = places[present]
    counts = _sums(where, np.ones(len(where)), len(times))
    sums = _sums(where, values[present], len(times))
    low, high = np.full(len(times), np.inf), np.full(len(times), -np.inf)
    np.minimum.at(low, where, values[present])
    np.maximum.at(high, where, values[present])
    return _series(quantity, times, sums, counts, low, high)


def hour_series(hours: pd.DataFrame, quantity: str, hours_a_bucket: int) -> TrendSeries:
    """Return the same from hour rows, whose smallest and largest readings stay exact."""
    times, places = _buckets(hours.index.to_numpy(dtype=np.int64), hours_a_bucket * 3_600_000)
    size = len(times)
    sums = _sums(places, hours[f"{quantity}_sum"].to_numpy(), size)
    counts = _sums(places, hours[f"{quantity}_count"].to_numpy(), size)
    low, high = np.full(size, np.inf), np.full(size, -np.inf)
    np.fmin.at(low, places, hours[f"{quantity}_min"].to_numpy())
    np.fmax.at(high, places, hours[f"{quantity}_max"].to_numpy())
    return _series(quantity, times, sums, counts, low, high)


def _sums(places: TimeArray, values: FloatArray, size: int) -> FloatArray:
    return np.asarray(np.bincount(places, weights=values, minlength=size), dtype=np.float64)


def _buckets(times_utc_ms: TimeArray, width_ms: int) -> tuple[TimeArray, TimeArray]:
    """Return the starts of all buckets from the first to the last, and each time's place among them."""
    first = times_utc_ms[0] // width_ms
    places = times_utc_ms // width_ms - first
    return (first + np.arange(places[-1] + 1, dtype=np.int64)) * width_ms, places


def _series(
    quantity: str, times: TimeArray, sums: FloatArray, counts: FloatArray, low: FloatArray, high: FloatArray
) -> TrendSeries:
    empty = counts == 0
    divisor = np.where(empty, 1, counts)
    return TrendSeries(
        quantity=quantity,
        time_utc_ms=times,
        value=np.where(empty, np.nan, sums / divisor),
        low=np.where(empty, np.nan, low),
        high=np.where(empty, np.nan, high),
    )


def bucket_width_ms(start_utc_ms: int, end_utc_ms: int, interval_ms: float) -> int:
    """Return a width [ms] that makes at most :data:`MOST_POINTS` buckets, none of them empty by chance."""
    return int(max((end_utc_ms - start_utc_ms) / (MOST_POINTS - 1), 2 * interval_ms)) + 1
