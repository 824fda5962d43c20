"""What was drawn over what the pump's own curve draws for the same flow and head."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.curve import Curve
from api.analytics.energy.duties import speed_for_rpm

FloatArray = NDArray[np.float64]


def drawn_over_own(
    hours: pd.DataFrame, curve: Curve, density_over_learned: FloatArray | float = 1.0
) -> FloatArray:
    """Return for each hour row the power drawn over that of the own curve at the same duty [-].

    1.05 is a pump that takes 5 % more than it took when its curve was learned, for the same flow at the same
    head: friction and drag show in it, and a loss of head too, which a pump makes up for by turning faster.
    ``density_over_learned`` [-], one value or one an hour, is the fluid's density over that of the hours the
    curve was learned in: power goes with it. NaN where the hour's mean duty lies outside the learned region,
    where no reading could be trusted, and where the curve gives no power.
    """
    count = hours["n_trusted"].to_numpy(dtype=float)
    with np.errstate(invalid="ignore", divide="ignore"):
        flow, head, speed = (
            hours[name].to_numpy(dtype=float) / count for name in ("sum_q", "sum_h", "sum_n")
        )
        own = own_power_sums(hours, curve) * density_over_learned
        own = own * _power_at_that_head(curve, flow, head, speed)
        drawn = hours["sum_p"].to_numpy(dtype=float)
        ratio = np.where((count > 0) & (own > 0), drawn / own, np.nan)
    known = np.isfinite(ratio) & (speed > 0)
    known[known] = curve.covers(flow[known], speed[known])
    return np.where(known, ratio, np.nan)


def _power_at_that_head(
    curve: Curve, flow_m3h: FloatArray, head_m: FloatArray, speed_rpm: FloatArray
) -> FloatArray:
    """Return the own power at the speed that gives this head, over that at the speed as it was [-].

    1 for a pump on its own curve, so that the sums' exactness within the hour is kept where nothing changed.
    """
    own_rpm = speed_for_rpm(curve, flow_m3h, head_m)
    return curve.power_w(flow_m3h, own_rpm) / curve.power_w(flow_m3h, speed_rpm)


def own_power_sums(hours: pd.DataFrame, curve: Curve) -> FloatArray:
    """Return for each hour row the own power at its flows and speeds, summed over trusted readings [W]."""
    terms = hours[["sum_n3", "sum_n2q", "sum_nq2", "sum_n", "n_trusted"]].to_numpy(dtype=float)
    return np.asarray(terms @ np.array(curve.power_coefficients))
