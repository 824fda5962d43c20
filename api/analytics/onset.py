"""Since when: the day on which a change began, be it a step or a slow growth that may have come to rest."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

GROWTH_DAYS: Final = (0, 2, 4, 6, 8, 11, 15, 20, 30, 45, 60, 90, 130, 180, 250, 365)
"""How long a change may take to grow before it rests [d]; 0 is a step."""

BETTER: Final = 0.7
"""Growth is believed only where it leaves less than this share of the squares that a step leaves."""

LEAST_DAYS: Final = 6
"""Fewer days since a change cannot tell a growth from a step."""


def onset_day(day: IntArray, off: FloatArray, change_day: int, raised_day: int) -> int:
    """Return the day on which the change began, from the residual by day [-].

    ``day`` ascends and holds days before and after ``change_day``; ``off`` is near 0 before the change, which
    began no later than the day it was raised. Of the step, and of every growth that then rests, the one that
    leaves the least squares is taken; the step is dated by ``change_day``, which was found with the days'
    correlation in mind.

    >>> day = np.arange(40)
    >>> onset_day(day, -0.08 * np.clip((day - 20) / 8, 0, 1), 24, 25)
    20
    """
    since = int((day >= change_day).sum())
    if since < LEAST_DAYS:
        return change_day
    as_step = _left(day, off, (day >= change_day).astype(float))
    least, best = as_step * BETTER, change_day
    for growth in GROWTH_DAYS[1:]:
        for start in range(max(change_day - growth, int(day[0])), raised_day + 1):
            left = _left(day, off, np.clip((day - start) / growth, 0.0, 1.0))
            if left < least:
                least, best = left, start
    return best


def _left(day: IntArray, off: FloatArray, shape: FloatArray) -> float:
    # The fit of one amplitude; where nothing has grown yet, nothing is explained.
    own = float(shape @ shape)
    return float(off @ off) - (float(shape @ off) ** 2 / own if own > 0 else 0.0)
