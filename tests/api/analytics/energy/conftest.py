"""A pump of exact affinity that pushes a demand at a head that a control holds."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import Curve, learn_curve
from api.analytics.facts import Provenance, PumpFacts
from api.analytics.hours import hour_rows
from collector.quantities import QUANTITY_NAMES

HEAD = (2.4e-6, -2e-5, -0.006)
POWER = (2.0e-8, 6e-6, -4e-4, 0.0, 0.0)
FACTS = PumpFacts(
    pump="P01", flow=Provenance.MEASURED, head=Provenance.MEASURED, rated_speed_rpm=2900, interval_s=600
)
MONDAY_UTC_MS = 1_767_571_200_000
Held = Callable[[np.ndarray], np.ndarray]


def flow_of(day: np.ndarray) -> np.ndarray:
    """The demand [m3/h], the same each week, steady within each hour."""
    hour = np.floor(day * 24) / 24
    return 18 + 6 * np.sin(2 * np.pi * hour) + 3 * np.sin(2 * np.pi * hour / 7)


def speed_at(flow: np.ndarray, head: np.ndarray) -> np.ndarray:
    a, b, c = HEAD
    return np.asarray((-b * flow + np.sqrt((b * flow) ** 2 - 4 * a * (c * flow**2 - head))) / (2 * a))


def power_at(flow: np.ndarray, speed: np.ndarray) -> np.ndarray:
    return POWER[0] * speed**3 + POWER[1] * speed**2 * flow + POWER[2] * speed * flow**2


def held(first_day: int, days: int, held_m: Held, lost: float = 0.0, dearer: float = 0.0) -> pd.DataFrame:
    """Hour rows of a pump that holds a head, having lost a share of it or taking more power for it."""
    day = first_day + np.arange(days * 144) / 144
    flow = flow_of(day)
    head = held_m(flow)
    speed = speed_at(flow, head / (1 - lost))
    index = pd.Index(MONDAY_UTC_MS + (day * 86_400_000).round().astype(np.int64), name="time_utc_ms")
    frame = pd.DataFrame(np.nan, index=index, columns=list(QUANTITY_NAMES), dtype=float)
    frame["speed_rpm"], frame["flow_m3h"], frame["head_m"] = speed, flow, head
    frame["power_w"] = power_at(flow, speed) * (1 + dearer)
    return hour_rows(frame, FACTS)


def constant(flow: np.ndarray) -> np.ndarray:
    return np.full(len(flow), 10.0)


def proportional(flow: np.ndarray) -> np.ndarray:
    return np.asarray(10.0 * (0.5 + 0.5 * np.minimum(flow / np.quantile(flow, 0.98), 1.0)))


@pytest.fixture(scope="session")
def wide_curve() -> Curve:
    """A curve learned while the control was tried at many heads."""

    def tried(flow: np.ndarray) -> np.ndarray:
        hour = np.arange(len(flow)) // 6
        return np.asarray(4.5 + 0.75 * (hour * 7 % 12) + 0.05 * flow)

    learned = learn_curve(held(0, 29, tried), FACTS)
    assert learned is not None
    return learned
