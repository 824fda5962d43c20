"""What a count of rare events says of their rate: exact intervals, whatever the count."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

OUTSIDE: Final = 0.025
"""Share left out on each side of a 95 % interval."""

_HALVINGS: Final = 80
"""Enough to bring any bracket below the last digit of a double."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """Events per unit of exposure with the exact 95 % interval; ``high`` is infinite without exposure."""

    value: float
    low: float
    high: float


def rate(events: int, exposure: float) -> Rate:
    """Return the rate of a Poisson count with its exact two-sided 95 % interval.

    Source: Garwood, Biometrika 28, 1936. Without an event the upper end is 3.69 over the exposure.

    >>> round(rate(0, 2.0).high, 3)
    1.844
    """
    if exposure <= 0:
        return Rate(value=0.0, low=0.0, high=math.inf)
    low = 0.0 if events == 0 else _crossing(lambda mean: 1 - _at_most(events - 1, mean), events, OUTSIDE)
    high = _crossing(lambda mean: 1 - _at_most(events, mean), events, 1 - OUTSIDE)
    return Rate(value=events / exposure, low=low / exposure, high=high / exposure)


def _at_most(events: int, mean: float) -> float:
    """Return the chance of at most so many events; by logarithms, so that a large mean does not vanish."""
    if mean == 0:
        return 1.0
    steps = (k * math.log(mean) - mean - math.lgamma(k + 1) for k in range(events + 1))
    return min(1.0, math.fsum(math.exp(step) for step in steps))


def _crossing(rising: Callable[[float], float], events: int, level: float) -> float:
    """Return the mean at which a rising chance reaches the level."""
    # Eight standard deviations beyond the count, and some for the smallest counts.
    low, high = 0.0, events + 8 * math.sqrt(events) + 10
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if rising(middle) < level else (low, middle)
    return (low + high) / 2
