"""Frames made by hand, of a pump whose curve is known exactly; each test changes one thing in them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.facts import Provenance, PumpFacts

Floats = NDArray[np.float64]
START_UTC_MS = 1_767_571_200_000  # 2026-01-05 00:00 UTC, a Monday

FACTS = PumpFacts(
    pump="P01",
    speed=Provenance.MEASURED,
    power=Provenance.MEASURED,
    flow=Provenance.MEASURED,
    head=Provenance.MEASURED,
    rated_speed_rpm=2900.0,
    rated_power_w=1500.0,
)
ESTIMATED = PumpFacts(
    pump="P01",
    speed=Provenance.MEASURED,
    power=Provenance.MEASURED,
    flow=Provenance.ESTIMATED,
    head=Provenance.ESTIMATED,
    rated_speed_rpm=2900.0,
    rated_power_w=1500.0,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuadraticCurve:
    """20 m at no flow and 15 m at 20 m3/h at 2900 rpm; 600 W at no flow, 1100 W at 20 m3/h."""

    head_band_m: float = 0.05
    power_band_w: float = 5.0
    typical_speed_rpm: float = 2900.0
    typical_flow_m3h: float = 17.0

    def head_m(self, flow_m3h: Floats, speed_rpm: Floats) -> Floats:
        return 20.0 * (np.asarray(speed_rpm) / 2900.0) ** 2 - 0.0125 * np.asarray(flow_m3h) ** 2

    def power_w(self, flow_m3h: Floats, speed_rpm: Floats) -> Floats:
        speed = np.asarray(speed_rpm) / 2900.0
        return 600.0 * speed**3 + 25.0 * speed**2 * np.asarray(flow_m3h)


CURVE = QuadraticCurve()


def readings(
    hours: float, interval_s: float = 10.0, speed_rpm: float = 2600.0, flow_m3h: float = 15.0, seed: int = 1
) -> pd.DataFrame:
    """Return a healthy pump at one duty, with the noise of ordinary sensors."""
    count = round(hours * 3600 / interval_s) + 1
    random = np.random.default_rng(seed)
    times = START_UTC_MS + (np.arange(count) * interval_s * 1000).astype(np.int64)
    speed = np.round(speed_rpm + random.normal(0, 2, count))
    flow = flow_m3h * (1 + random.normal(0, 0.004, count))
    head = CURVE.head_m(flow, speed) * (1 + random.normal(0, 0.003, count))
    power = CURVE.power_w(flow, speed) * (1 + random.normal(0, 0.003, count))
    return pd.DataFrame(
        {
            "speed_rpm": speed,
            "power_w": np.round(power),
            "flow_m3h": np.round(flow, 2),
            "head_m": np.round(head, 2),
            "starts": np.nan,
            "fault_code": 0.0,
        },
        index=pd.Index(times, name="time_utc_ms"),
    )


def between(frame: pd.DataFrame, from_s: float, to_s: float) -> NDArray[np.bool_]:
    """Return which readings lie from ``from_s`` to before ``to_s`` after the frame's start [s]."""
    elapsed = (frame.index.to_numpy() - frame.index[0]) / 1000
    return (elapsed >= from_s) & (elapsed < to_s)


def stopped(frame: pd.DataFrame, during: NDArray[np.bool_]) -> pd.DataFrame:
    """Return the frame with the pump at rest during these readings."""
    frame.loc[during, ["speed_rpm", "power_w", "flow_m3h", "head_m"]] = [0.0, 12.0, 0.0, 0.0]
    return frame


def without_flow(frame: pd.DataFrame, during: NDArray[np.bool_], power: float, head: float) -> pd.DataFrame:
    """Return the frame with no flow during these readings, at shares of zero-flow power and shutoff head."""
    speed = frame["speed_rpm"].to_numpy()[during]
    frame.loc[during, "flow_m3h"] = 0.0
    frame.loc[during, "power_w"] = power * CURVE.power_w(np.float64(0.0), speed)
    frame.loc[during, "head_m"] = head * CURVE.head_m(np.float64(0.0), speed)
    return frame
