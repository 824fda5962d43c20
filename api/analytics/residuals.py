"""How far each hour lies from the pump's own curve, and what besides a fault may explain it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from api.analytics.cells import FLOW_CELL, Births, no_births
from api.analytics.curve import FLOW_SCALE, Curve, baseline_start_utc_ms
from api.analytics.facts import PumpFacts
from api.analytics.observations import Observations, observations
from api.analytics.spans import DAY_MS
from api.analytics.stuck_hours import stuck_hours

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

RIPE_DAYS: Final = 3
"""A cell of (flow/speed, speed) first seen after the baseline is judged in only after this many days."""

LEAST_LEVER: Final = 0.05
"""Where the curve is flatter than this at the usual duty, a leak is sized as if it were so steep there: a
share of head lost for a share of flow."""

TEMPERATURE_SCALE_C: Final = 20.0
"""A departure from the typical temperature is counted in these, so that 1 is a wide move."""

HEAD_BELIEF_SD: Final = np.array([0.05, 0.04, 0.02, 0.006, 0.003, 0.001, 0.002, 0.01, 0.3, 0.3, 0.02, 0.02])
POWER_BELIEF_SD: Final = np.array([0.05, 0.1, 0.06, 0.03, 0.02, 0.005, 0.01, 0.03, 0.3, 0.3, 0.3, 0.3])
"""What may stay unexplained by the curve's form along each of the features of :func:`departures` [-]:
level, slope and bend over flow/speed, a third-order bend, speed (affinity departure: small for head), its
square, its product with flow/speed, fluid temperature; then how fast the curve may go astray below and
above the flow/speed of the baseline, and below and above its speed. These last are wide, so that new
regions accuse nobody until they have been seen for a while. Tuned on the tuning families of the fleet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Residuals:
    """Judged hours: relative residuals ``observed / curve - 1`` [-] and features; arrays of one length.

    ``features`` is [hours, k], as in ``HEAD_BELIEF_SD``. ``flow_lever`` is the relative change of the
    curve's head for a relative change of flow, ``Q H'(Q) / H`` (negative where the curve falls), and
    ``power_lever`` the same for power. ``steepness`` is what a leak past the rings takes of head, over the
    same at the typical duty. ``in_baseline_cells`` masks hours where the baseline itself has been,
    ``power_is_calm`` those whose power may be judged as well. ``flow_ratio`` is flow/speed over the typical,
    ``head_share`` the head at the typical duty over the curve's here: what a head sensor's zero shift does;
    ``torque_share`` the same for a torque that adds.
    """

    hour_utc_ms: IntArray
    day: IntArray
    head: FloatArray
    power: FloatArray
    features: FloatArray
    flow_lever: FloatArray
    power_lever: FloatArray
    steepness: FloatArray
    in_baseline_cells: BoolArray
    power_is_calm: BoolArray
    flow_ratio: FloatArray
    head_share: FloatArray
    torque_share: FloatArray
    seen: Observations

    def where(self, mask: BoolArray) -> Residuals:
        """Return the hours under the mask."""
        kept = {name: getattr(self, name)[mask] for name in self.__slots__ if name != "seen"}
        return Residuals(**kept, seen=self.seen.where(mask))


def residuals(hours: pd.DataFrame, curve: Curve, facts: PumpFacts, births: Births | None = None) -> Residuals:
    """Return the residuals of the hours that can be judged like for like since the baseline began.

    ``hours`` are of whole days; ``births`` tells since when calm hours have known each cell, these hours' own
    among them. Without, these hours are all there are.
    """
    seen = calm_hours(hours, curve, facts)
    seen = seen.where(judged(seen, curve, births))
    head, power = seen.head_terms @ curve.head_coefficients, seen.power_terms @ curve.power_coefficients
    return Residuals(
        hour_utc_ms=seen.hour_utc_ms,
        day=seen.day,
        head=seen.head_m / head - 1,
        power=seen.power_w / power - 1,
        features=departures(seen, curve),
        flow_lever=_lever(curve.head_m, seen, head),
        power_lever=_lever(curve.power_w, seen, power),
        steepness=_steepness(curve, seen.flow_m3h, seen.speed_rpm) / _usual_steepness(curve),
        in_baseline_cells=curve.cells.holds(seen.flow_m3h, seen.speed_rpm),
        power_is_calm=curve.power_is_calm(seen) & ~_stuck(hours, seen, curve, ("power_w",)),
        flow_ratio=np.maximum(1 + FLOW_SCALE * curve.departure(seen.flow_m3h, seen.speed_rpm), 0.05),
        head_share=float(curve.head_m(curve.typical_flow_m3h, curve.typical_speed_rpm)) / head,
        torque_share=_typical_power_w(curve) / curve.typical_speed_rpm * seen.speed_rpm / power,
        seen=seen,
    )


def _typical_power_w(curve: Curve) -> float:
    return float(curve.power_w(curve.typical_flow_m3h, curve.typical_speed_rpm))


def _steepness(curve: Curve, flow_m3h: ArrayLike, speed_rpm: ArrayLike) -> FloatArray:
    # Relative head lost for a leak that grows with speed: H'(Q) n / H, from H = a n² + b n Q + c Q².
    flow, speed = np.asarray(flow_m3h), np.asarray(speed_rpm)
    _, b, c = curve.head_coefficients
    return np.asarray((b * speed + 2 * c * flow) * speed / curve.head_m(flow, speed))


def _usual_steepness(curve: Curve) -> float:
    # By magnitude: the sign of what is divided by it says whether a leak takes head there or adds to it.
    flow, speed = curve.typical_flow_m3h, curve.typical_speed_rpm
    return -max(abs(float(_steepness(curve, flow, speed))), LEAST_LEVER * speed / flow)


def calm_hours(hours: pd.DataFrame, curve: Curve, facts: PumpFacts) -> Observations:
    """Return the hours of whole days since the baseline began that may judge head.

    Their head holds no episode, and neither it nor flow is stuck.
    """
    seen = observations(hours[hours.index >= baseline_start_utc_ms(facts)])
    return seen.where(curve.head_is_calm(seen) & ~head_is_stuck(hours, seen, curve))


def head_is_stuck(hours: pd.DataFrame, seen: Observations, curve: Curve) -> BoolArray:
    """Mask the hours seen in which head, or the flow it is judged at, stood still while the rest moved."""
    return _stuck(hours, seen, curve, ("flow_m3h", "head_m"))


def _stuck(hours: pd.DataFrame, seen: Observations, curve: Curve, channels: Sequence[str]) -> BoolArray:
    hour_utc_ms = hours.index.to_numpy(dtype=np.int64)
    stuck = stuck_hours(hours, hour_utc_ms // DAY_MS, curve, channels)
    return np.asarray(np.isin(seen.hour_utc_ms, hour_utc_ms[stuck]))


def births_of(seen: Observations, curve: Curve) -> Births:
    """Return since when these hours have known each cell."""
    return no_births(curve.cells.flow_step).with_hours(seen.flow_m3h, seen.speed_rpm, seen.day)


def judged(seen: Observations, curve: Curve, births: Births | None = None) -> BoolArray:
    """Mask the hours in a cell that the baseline knew, or that was first seen ``RIPE_DAYS`` before."""
    births = births_of(seen, curve) if births is None else births
    born = births.of(seen.flow_m3h, seen.speed_rpm)
    last_baseline_day = curve.last_hour_utc_ms // 86_400_000
    return np.asarray((born <= last_baseline_day) | (seen.day >= born + RIPE_DAYS))


def departures(seen: Observations, curve: Curve) -> FloatArray:
    """Return what besides a fault may move the residual, as features [hours, k]; 1 is a wide departure."""
    u, s = curve.departure(seen.flow_m3h, seen.speed_rpm), curve.log_speed(seen.speed_rpm)
    usual_c = np.nan if curve.typical_temperature_c is None else curve.typical_temperature_c
    warm = np.nan_to_num((seen.fluid_temperature_c - usual_c) / TEMPERATURE_SCALE_C)
    return np.column_stack(
        [
            np.ones(len(u)),
            u,
            u * u,
            u**3,
            s,
            s * s,
            s * u,
            warm,
            *_beyond(u, curve.departure_range),
            *_beyond(s, curve.log_speed_range),
        ]
    )


def _beyond(values: FloatArray, limits: tuple[float, float]) -> tuple[FloatArray, FloatArray]:
    return np.maximum(limits[0] - values, 0.0), np.maximum(values - limits[1], 0.0)


def _lever(quantity: Callable[..., FloatArray], seen: Observations, value: FloatArray) -> FloatArray:
    step = 1 + FLOW_CELL
    more = quantity(seen.flow_m3h * step, seen.speed_rpm) - quantity(seen.flow_m3h / step, seen.speed_rpm)
    return np.asarray(more / (step - 1 / step) / value)
