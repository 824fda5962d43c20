"""What was drawn over what the pump's own curve draws for the same flows and speeds."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.curve import Curve

FloatArray = NDArray[np.float64]


def drawn_over_own(
    hours: pd.DataFrame, curve: Curve, density_over_learned: FloatArray | float = 1.0
) -> FloatArray:
    """Return for each hour row the power drawn over that of the own curve [-], of its trusted readings.

    1.05 is a pump that takes 5 % more than it took when its curve was learned, for the same flow at the same
    speed. ``density_over_learned`` [-], one value or one an hour, is the fluid's density over that of the
    hours the curve was learned in: power goes with it. The sums of the regressors make this exact however
    the pump moved within the hour. NaN where the hour's mean duty lies outside the learned region, where no
    reading could be trusted, and where the curve gives no power.
    """
    count = hours["n_trusted"].to_numpy(dtype=float)
    own = own_power_sums(hours, curve) * density_over_learned
    drawn = hours["sum_p"].to_numpy(dtype=float)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where((count > 0) & (own > 0), drawn / own, np.nan)
        flow, speed = (hours[name].to_numpy(dtype=float) / count for name in ("sum_q", "sum_n"))
    known = np.isfinite(ratio) & (speed > 0)
    known[known] = curve.covers(flow[known], speed[known])
    return np.where(known, ratio, np.nan)


def own_power_sums(hours: pd.DataFrame, curve: Curve) -> FloatArray:
    """Return for each hour row the own curve's power summed over its trusted readings [W]."""
    terms = hours[["sum_n3", "sum_n2q", "sum_nq2", "sum_n", "n_trusted"]].to_numpy(dtype=float)
    return np.asarray(terms @ np.array(curve.power_coefficients))
