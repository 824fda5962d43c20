"""A drive's own counters hour by hour: where each stood, how far it rose, how often it fell."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from api.analytics.spans import HOUR_MS

COUNTERS: Final = ("energy_kwh", "run_time_h")
"""The counters that are kept; each is in the unit of its name."""

COUNTER_COLUMNS: Final = tuple(
    f"{counter}_{what}" for counter in COUNTERS for what in ("first", "last", "rise", "falls")
)


def counter_sums(frame: pd.DataFrame) -> pd.DataFrame:
    """Return ``COUNTER_COLUMNS`` by hour, index in ms UTC, of the hours in which a counter was read.

    ``_first`` and ``_last`` are the counter's first and last value in the hour, ``_rise`` the sum of its
    rises from one of its values to the next within the hour, ``_falls`` how often it fell instead. What it
    rose from one hour to the next is the difference of ``_last`` and the next ``_first``.
    """
    return pd.concat([_of(frame[name].dropna(), name) for name in COUNTERS], axis=1)


def _of(values: pd.Series[float], name: str) -> pd.DataFrame:
    hours = values.index.to_numpy(dtype=np.int64) // HOUR_MS * HOUR_MS
    numbers = values.to_numpy(dtype=float)
    is_same_hour = np.diff(hours, prepend=hours[:1] - HOUR_MS) == 0
    steps = np.where(is_same_hour, np.diff(numbers, prepend=numbers[:1]), 0.0)
    grouped = values.groupby(hours)
    columns = {
        "first": grouped.first(),
        "last": grouped.last(),
        "rise": pd.Series(np.maximum(steps, 0.0), index=values.index).groupby(hours).sum(),
        "falls": pd.Series((steps < 0).astype(float), index=values.index).groupby(hours).sum(),
    }
    return pd.DataFrame({f"{name}_{what}": column.astype(float) for what, column in columns.items()})
