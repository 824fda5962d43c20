"""Hours in which one quantity stood still while the others moved: its register or its sensor is stuck."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.curve import Curve

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

FEWEST_HOURS: Final = 3

LEAST_MOVE: Final = 0.06
"""Of the own curve: sensors, valves and a curve's misfit move a healthy reading about it by less (tuned)."""

MOVE_STEPS: Final = 3.0
"""A value rests while what it tells of moves by up to one step, and as much again where the curve is off."""

BAND_OF_A_STEP: Final = 12**-0.5
"""Standard deviation of what rounding to a step leaves, in steps. Where a day shows one value only, its step
is not known, but the band of single readings about the curve holds it."""

OUTSIDE: Final = (0.05, 0.95)

_SHORT: Final = {"speed_rpm": "n", "power_w": "p", "flow_m3h": "q", "head_m": "h"}


def stuck_hours(hours: pd.DataFrame, day: IntArray, curve: Curve, channels: Sequence[str]) -> BoolArray:
    """Mask the hours (n,) in which one of ``channels`` stood still while the others moved: not to be judged.

    ``hours`` are hour rows of whole days, ``day`` the number of each one's day. Asked for are three hours or
    more of nothing but one value, other than zero, over which the reading moved about the own curve: by 6 %,
    and by more than its steps explain. Each day is judged by itself, so that pieces tell what a whole does.
    """
    means, stuck = _means(hours), np.zeros(len(hours), dtype=np.bool_)
    for name in channels:
        low, high = (hours[f"{name}_{end}"].to_numpy(dtype=float) for end in ("min", "max"))
        runs = _runs_of_one_value(low, high, day)
        share = _over_own_curve(means, name, curve) if runs else low
        for first, last in runs:
            judged = np.isfinite(share[first:last])
            if judged.sum() < FEWEST_HOURS:
                continue
            of_day = slice(*np.searchsorted(day, [day[first], day[first] + 1]))
            step = _step_share(low[of_day], high[of_day]) or _widest_step_share(name, low[first], curve)
            needed = max(LEAST_MOVE, MOVE_STEPS * step)
            stuck[first:last] |= moved_by(share[first:last][judged]) >= needed
    return stuck


def _means(hours: pd.DataFrame) -> Mapping[str, FloatArray]:
    count = hours["n_trusted"].to_numpy(dtype=float)
    known = np.where(count > 0, count, np.nan)
    return {name: hours[f"sum_{short}"].to_numpy(dtype=float) / known for name, short in _SHORT.items()}


def _runs_of_one_value(low: FloatArray, high: FloatArray, day: IntArray) -> list[tuple[int, int]]:
    """Return from where to where (exclusive) the same value, other than zero, was all that a day showed."""
    flat = (low == high) & (low != 0)
    goes_on = flat[1:] & flat[:-1] & (low[1:] == low[:-1]) & (day[1:] == day[:-1])
    begins = np.flatnonzero(flat & ~np.append(False, goes_on))
    ends = np.flatnonzero(flat & ~np.append(goes_on, False)) + 1
    return [(int(a), int(b)) for a, b in zip(begins, ends, strict=True) if b - a >= FEWEST_HOURS]


def _over_own_curve(means: Mapping[str, FloatArray], name: str, curve: Curve) -> FloatArray:
    """Return the reading over what the own curve says of it [-], (n,); for flow, head's, which follows it."""
    flow, speed = means["flow_m3h"], means["speed_rpm"]
    told = "power_w" if name == "power_w" else "head_m"
    own = curve.power_w(flow, speed) if told == "power_w" else curve.head_m(flow, speed)
    return np.asarray(means[told] / np.where(own > 0, own, np.nan))


def _step_share(low: FloatArray, high: FloatArray) -> float:
    """Return the smallest difference of two values that a day showed over its highest [-], 0 if one only."""
    shown = np.concatenate([low, high])
    apart = np.diff(np.unique(shown[np.isfinite(shown) & (shown != 0)]))
    apart = apart[apart > 1e-9]
    return float(apart.min() / np.nanmax(np.abs(shown))) if len(apart) else 0.0


def _widest_step_share(name: str, value: float, curve: Curve) -> float:
    """Return the widest step that the curve's band may hold [-]: of ``value``, for flow in terms of head."""
    band = curve.power_band_w if name == "power_w" else curve.head_band_m
    if name == "flow_m3h":
        value = float(curve.head_m(curve.typical_flow_m3h, curve.typical_speed_rpm))
    return float(band / BAND_OF_A_STEP / abs(value))


def moved_by(share: FloatArray) -> float:
    """Return how far a share moved but for its outermost twentieths [-]."""
    low, high = np.quantile(share, OUTSIDE)
    return float(high - low)
