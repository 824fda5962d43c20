"""Which readings may judge the pump's curve. Masks only: no reading is deleted."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.facts import PumpFacts

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]

RUNNING_SPEED_RPM: Final = 60.0
"""Below this a drive reports creep or noise, not pumping (common practice: 2-5 % of rated speed)."""

SETTLE_S: Final = 120.0
"""Readings this soon after a start still hold its ramp and the water column's acceleration."""

FROZEN_S: Final = 3600.0
"""Four live channels that stay equal this long come from a stuck gateway, not from a pump."""

GAP_INTERVALS: Final = 3.0
SHORTEST_GAP_S: Final = 300.0
"""Readings further apart than three usual intervals (at least 300 s) have a gap between them."""

CURVE_CHANNELS: Final = ("speed_rpm", "power_w", "flow_m3h", "head_m")


def gap_limit_ms(times_utc_ms: IntArray, facts: PumpFacts) -> float:
    """Longest time between two readings that still counts as seen [ms].

    From the stated interval, or else the median of the readings given. Nothing (energy, volume, running
    time, starts) is carried across a longer one.

    >>> gap_limit_ms(np.array([0, 60_000, 120_000]), PumpFacts(pump="P01"))
    300000.0
    """
    stated_ms = facts.interval_s * 1000 if facts.interval_s else 0.0
    usual_ms = stated_ms or (float(np.median(np.diff(times_utc_ms))) if len(times_utc_ms) > 1 else 0.0)
    return max(GAP_INTERVALS * usual_ms, SHORTEST_GAP_S * 1000)


def running(frame: pd.DataFrame) -> BoolArray:
    """Mask the readings in which the shaft turns (speed unknown: water moves and power is drawn)."""
    speed = frame["speed_rpm"].to_numpy()
    drawn = (frame["power_w"].to_numpy() > 0) & (frame["flow_m3h"].to_numpy() > 0)
    return np.where(np.isnan(speed), drawn, speed > RUNNING_SPEED_RPM).astype(bool)


def trusted(frame: pd.DataFrame, facts: PumpFacts) -> BoolArray:
    """Mask the readings that may judge the curve: complete, settled, with flow, and alive.

    A reading next to a stop or a gap is left out, because a drive's channels are not updated together.
    The first and last readings of a frame are therefore never trusted: give one gap limit more on each side.
    """
    times_utc_ms = frame.index.to_numpy(dtype=np.int64)
    if len(times_utc_ms) < 3:
        return np.zeros(len(times_utc_ms), dtype=bool)
    complete = ~frame[list(CURVE_CHANNELS)].isna().to_numpy().any(axis=1)
    flowing = frame["flow_m3h"].to_numpy() > 0
    turning = running(frame)
    linked = np.diff(times_utc_ms) <= gap_limit_ms(times_utc_ms, facts)
    settled = _held_since_s(turning, linked, times_utc_ms) >= SETTLE_S
    followed = np.append(linked & turning[1:], False)
    return np.asarray(complete & flowing & turning & settled & followed & ~frozen(frame, linked))


def frozen(frame: pd.DataFrame, linked: BoolArray) -> BoolArray:
    """Mask the readings in a stretch of ``FROZEN_S`` or more in which all four channels stay the same."""
    values = frame[list(CURVE_CHANNELS)].to_numpy()
    same = linked & (values[1:] == values[:-1]).all(axis=1)
    times_utc_ms = frame.index.to_numpy(dtype=np.int64)
    firsts = np.flatnonzero(np.append(True, ~same))
    lengths = np.diff(np.append(firsts, len(times_utc_ms)))
    span_ms = times_utc_ms[firsts + lengths - 1] - times_utc_ms[firsts]
    return np.repeat(span_ms >= FROZEN_S * 1000, lengths)


def _held_since_s(state: BoolArray, linked: BoolArray, times_utc_ms: IntArray) -> NDArray[np.float64]:
    # A stretch begins where the state begins or follows a gap; elsewhere the last beginning is carried on.
    begins = np.append(True, ~(linked & state[1:] & state[:-1]))
    since = np.maximum.accumulate(np.where(begins, np.arange(len(state)), 0))
    return np.where(state, (times_utc_ms - times_utc_ms[since]) / 1000, 0.0)
