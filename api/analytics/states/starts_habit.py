"""How often a pump is used to start, told from the hours it was learned in."""

from __future__ import annotations

from math import exp, lgamma, log
from typing import Final, Protocol

import numpy as np
import pandas as pd

from api.analytics.spans import HOUR_MS
from api.analytics.states.own_curve import Floats

_SEEN_S: Final = 3500.0
"""An hour with a gap has fewer starts than there were, so that it tells of no habit."""
_MOST_CROSSINGS_PER_HOUR: Final = 3e-4
"""Twice within a day, as is asked for before it is said, chance then does it once in 50 years or less."""
_LEAST_DISPERSION: Final = 0.05
"""A clock that starts a pump has none, yet no pump is started by a clock alone."""
_HOURS_A_DAY: Final = 24


class LearnedHours(Protocol):
    """What is asked of a curve: the first and the last of the hours it was learned from [ms UTC]."""

    @property
    def first_hour_utc_ms(self) -> int:
        """The first hour."""
        ...

    @property
    def last_hour_utc_ms(self) -> int:
        """The last hour."""
        ...


def starts_habit(hours: pd.DataFrame, curve: LearnedHours | None) -> float | None:
    """Return the most starts within any sixty minutes [1/h] that this pump's habit explains.

    ``hours`` are hour rows; those the curve was learned from are looked at, less those with a gap. ``None``
    without a curve or such hours. It is no less than the most that was seen in one hour, and as many as calls
    at random come to: the busiest hour of the day has a mean, all hours a spread about theirs, and a window
    that slides crosses a count more often than a clock hour reaches it.

    Sources: the rate at which a sliding window of a Poisson process crosses a count (Alm, 1983, from memory);
    a spread other than Poisson's as its multiple (quasi-Poisson, common practice).
    """
    if curve is None:
        return None
    learned = (hours.index >= curve.first_hour_utc_ms) & (hours.index <= curve.last_hour_utc_ms)
    whole = hours[learned & (hours["seconds_seen"].to_numpy(dtype=float) >= _SEEN_S)]
    if whole.empty:
        return None
    starts = whole["starts"].to_numpy(dtype=float)
    means = _means_of_the_hour_of_day(whole.index.to_numpy(dtype=np.int64), starts)
    spread = max(float(np.mean((starts - means) ** 2)) / max(float(means.mean()), 1e-9), _LEAST_DISPERSION)
    return max(float(starts.max()), spread * most_by_chance(float(means.max()) / spread))


def _means_of_the_hour_of_day(hour_utc_ms: np.ndarray, starts: Floats) -> Floats:
    """Return for each hour the mean over the same hour of all days, (n,)."""
    place = hour_utc_ms // HOUR_MS % _HOURS_A_DAY
    sums = np.bincount(place, weights=starts, minlength=_HOURS_A_DAY)
    counts = np.bincount(place, minlength=_HOURS_A_DAY)
    means: Floats = (sums / np.maximum(counts, 1))[place]
    return means


def most_by_chance(per_hour: float) -> int:
    """Return the count that a sliding hour of events at random, so many an hour, hardly ever goes beyond.

    >>> most_by_chance(0.0), most_by_chance(2.0)
    (0, 10)
    """
    count = int(per_hour)
    while per_hour > 0 and crossings_per_hour(per_hour, count) > _MOST_CROSSINGS_PER_HOUR:
        count += 1
    return count


def crossings_per_hour(per_hour: float, count: int) -> float:
    """Return how often an hour that slides over events at random comes to hold more than ``count`` [1/h]."""
    chance = exp(count * log(per_hour) - per_hour - lgamma(count + 1))
    return per_hour * chance * max(1.0 - per_hour / (count + 1), 0.0)
