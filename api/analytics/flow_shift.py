"""How far off a flow meter reads, from how far it puts head off the pump's own curve."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.curve import Curve
from api.analytics.residual_days import evenness
from api.analytics.residuals import Residuals

FloatArray = NDArray[np.float64]

TRUE_OVER_READ: Final = np.linspace(0.5, 1.8, 131)
"""True flow over the flow that is read: wide enough for a meter that somebody still calls working."""


def flow_shift(head_off: FloatArray, hours: Residuals, curve: Curve) -> FloatArray:
    """Return by what share [-] flow reads off where head is off by these [-]; negative reads low.

    A meter that reads low by a share moves every point along the pump's own curve: head is that of the true
    flow, held against that of the flow which is read. Where the curve hardly falls, head tells little of
    flow, and the interval is as wide as that.
    """
    flow, speed = hours.seen.flow_m3h, hours.seen.speed_rpm
    own = curve.head_m(flow, speed)
    # Hours count as they count in the mean that head is off by.
    weight = evenness(hours.flow_lever)
    heads = (curve.head_m(flow * ratio, speed) / own for ratio in TRUE_OVER_READ)
    off = np.array([float(np.average(head, weights=weight)) for head in heads]) - 1
    falling = np.minimum.accumulate(off)
    ratio = np.interp(head_off, falling[::-1], TRUE_OVER_READ[::-1])
    return np.asarray(1 / ratio - 1)
