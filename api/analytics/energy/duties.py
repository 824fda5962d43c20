"""The hours of a period as duties that the own curve can be asked about: flow, head, speed, and energy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from api.analytics.curve import Curve

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Duties:
    """Hours within the learned region; arrays of one length, means over each hour's trusted readings.

    ``energy_kwh`` is what the hour drew while power, flow and head were known. ``judged_share`` [-] is the
    energy of these hours over that of all: the rest lies outside the learned region or can't be trusted.
    """

    flow_m3h: FloatArray
    head_m: FloatArray
    speed_rpm: FloatArray
    energy_kwh: FloatArray
    volume_m3: FloatArray
    judged_share: float

    def __len__(self) -> int:
        """Return the number of hours."""
        return len(self.flow_m3h)


def duties(hours: pd.DataFrame, curve: Curve) -> Duties:
    """Return the duties of some hour rows, in their order."""
    energy = hours["lifted_energy_kwh"].to_numpy(dtype=float)
    count = hours["n_trusted"].to_numpy(dtype=float)
    asked = (count > 0) & (energy > 0)
    flow, head, speed = (
        hours[name].to_numpy(dtype=float)[asked] / count[asked] for name in ("sum_q", "sum_h", "sum_n")
    )
    known = curve.covers(flow, speed) & (head > 0)
    whole = float(energy.sum())
    return Duties(
        flow_m3h=flow[known],
        head_m=head[known],
        speed_rpm=speed[known],
        energy_kwh=energy[asked][known],
        volume_m3=hours["lifted_volume_m3"].to_numpy(dtype=float)[asked][known],
        judged_share=float(energy[asked][known].sum()) / whole if whole > 0 else 0.0,
    )


def speed_for_rpm(curve: Curve, flow_m3h: ArrayLike, head_m: ArrayLike) -> FloatArray:
    """Return the speed [rpm] at which the own curve gives this head at this flow; broadcasts.

    ``H = a n² + b n Q + c Q²`` solved for n, the larger root: the one on the falling side. NaN where the
    curve reaches that head at no speed.
    """
    a, b, c = curve.head_coefficients
    flow, head = np.asarray(flow_m3h, dtype=float), np.asarray(head_m, dtype=float)
    linear = b * flow
    inside = linear**2 - 4 * a * (c * flow**2 - head)
    with np.errstate(invalid="ignore"):
        speed = (-linear + np.sqrt(inside)) / (2 * a)
    return np.where(speed > 0, speed, np.nan)
