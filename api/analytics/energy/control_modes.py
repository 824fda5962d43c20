"""What the same water would have cost under another control mode.

Each hour keeps its flow; the head becomes what the other control would hold; the speed follows from the
pump's own curve as the pump is now, and the power from the curve at that speed. Three things are assumed and
said beside the answer: the consumers draw the same flow, the lowest head at which such a flow (or a larger
one) was seen is enough for it, and only hours whose new duty lies in the learned region are counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.curve import Curve
from api.analytics.energy.duties import Duties, speed_for_rpm

FloatArray = NDArray[np.float64]

HALF: Final = 0.5
"""Head at no flow over head at the largest under proportional pressure (common practice)."""
TOP: Final = 0.98
"""Quantile of the hours' heads that a constant pressure must hold, and of their flows that count as the
largest: the last two percent are starts and odd hours (our own choice)."""
ENOUGH_HEAD: Final = 0.99
"""An hour is short of head below this share of what was enough for its flow: for the readings' scatter."""


class Mode(StrEnum):
    """A way of controlling the head."""

    CONSTANT_PRESSURE = "constant_pressure"
    PROPORTIONAL_PRESSURE = "proportional_pressure"
    LEAST_SEEN = "least_seen"
    """As little head as was ever seen to be enough for the flow: a bound, no mode that can be set."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherControl:
    """The energy of the counted hours as it was and as it would have been [kWh].

    ``setpoint_m`` is the head at the largest flow [m]. ``counted_share`` [-] is the energy of the counted
    hours over that of the period; ``short_share`` [-] the share of the counted hours' volume that would have
    had less head than was seen to be enough: above a few percent the mode would not have served.
    """

    mode: Mode
    setpoint_m: float
    energy_kwh: float
    as_it_was_kwh: float
    counted_share: float
    short_share: float

    @property
    def saving_kwh(self) -> float:
        """Return what would have been saved in the counted hours [kWh]; negative: it would have cost more."""
        return self.as_it_was_kwh - self.energy_kwh


def other_control(
    curve: Curve, seen: Duties, mode: Mode, setpoint_m: float | None = None
) -> OtherControl | None:
    """Return what the period would have drawn under ``mode``, ``None`` where no hour can be told.

    ``setpoint_m`` is the head held at the largest flow seen [m]; without one it is the head that was seen at
    the top (``TOP``).
    """
    if not len(seen):
        return None
    top_m = float(np.quantile(seen.head_m, TOP)) if setpoint_m is None else setpoint_m
    needed_m = least_seen_head_m(seen)
    head_m = _held_head_m(mode, seen, top_m, needed_m)
    energy = seen.energy_kwh * _power_ratio(curve, seen, head_m)
    told = np.isfinite(energy)
    if not told.any():
        return None
    was = float(seen.energy_kwh[told].sum())
    short = told & (head_m < ENOUGH_HEAD * needed_m)
    return OtherControl(
        mode=mode,
        setpoint_m=top_m,
        energy_kwh=float(energy[told].sum()),
        as_it_was_kwh=was,
        counted_share=seen.judged_share * was / float(seen.energy_kwh.sum()),
        short_share=float(seen.volume_m3[short].sum() / seen.volume_m3[told].sum()),
    )


def least_seen_head_m(seen: Duties) -> FloatArray:
    """Return for each hour the lowest head [m] that was seen with its flow or with more: that was enough."""
    order = np.argsort(-seen.flow_m3h, kind="stable")
    lowest = np.minimum.accumulate(seen.head_m[order])
    enough = np.empty(len(seen))
    enough[order] = lowest
    return enough


def _held_head_m(mode: Mode, seen: Duties, top_m: float, needed_m: FloatArray) -> FloatArray:
    if mode is Mode.LEAST_SEEN:
        return needed_m
    if mode is Mode.CONSTANT_PRESSURE:
        return np.full(len(seen), top_m)
    part = np.clip(seen.flow_m3h / float(np.quantile(seen.flow_m3h, TOP)), 0.0, 1.0)
    return np.asarray(top_m * (HALF + (1 - HALF) * part))


def _power_ratio(curve: Curve, seen: Duties, head_m: FloatArray) -> FloatArray:
    """Return the power at another head over the power as it was [-], NaN outside the learned region.

    A pump that has lost head keeps that loss at the other speed.
    """
    kept = seen.head_m / curve.head_m(seen.flow_m3h, seen.speed_rpm)
    speed = speed_for_rpm(curve, seen.flow_m3h, head_m / kept)
    now = curve.power_w(seen.flow_m3h, seen.speed_rpm)
    then = curve.power_w(seen.flow_m3h, speed)
    known = np.isfinite(speed) & (now > 0) & (then > 0)
    known[known] = curve.covers(seen.flow_m3h[known], speed[known])
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(known, then / now, np.nan)
