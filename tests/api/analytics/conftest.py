"""Hand-made readings and a small pump of known coefficients: every expected number can be worked out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from api.analytics.facts import Provenance, PumpFacts
from collector.quantities import QUANTITY_NAMES

MEASURED = Provenance.MEASURED
MONDAY_UTC_MS = 1_767_571_200_000
"""2026-01-05 00:00 UTC, a Monday."""

HEAD = (2.4e-6, -2e-5, -0.006)
POWER = (2.0e-8, 6e-6, -4e-4, 0.02, 12.0)


def frame_of(times_utc_ms: object, **columns: object) -> pd.DataFrame:
    index = pd.Index(np.asarray(times_utc_ms, dtype=np.int64), name="time_utc_ms")
    frame = pd.DataFrame(np.nan, index=index, columns=list(QUANTITY_NAMES), dtype=float)
    for name, values in columns.items():
        frame[name] = values
    return frame


def small_pump(
    days: int = 60,
    *,
    seed: int = 0,
    step_s: int = 600,
    head_factor: Callable[[np.ndarray], np.ndarray] | None = None,
    power_factor: Callable[[np.ndarray], np.ndarray] | None = None,
    flow_share: Callable[[np.ndarray], np.ndarray] | None = None,
    drift: float = 0.002,
) -> pd.DataFrame:
    """Readings of a pump whose curve is exactly ``HEAD`` and ``POWER``, with noise and slow sensor drift.

    The factors are functions of the time in days; sensors drift by ``drift`` [-] from day to day.
    """
    rng = np.random.default_rng(seed)
    day = np.arange(days * 86_400 // step_s) * step_s / 86_400
    demand = 0.7 + 0.2 * np.sin(2 * np.pi * day) + 0.08 * np.sin(2 * np.pi * day / 9.3)
    demand = demand * (flow_share(day) if flow_share else 1.0)
    speed = 1800 + 900 * np.clip(demand, 0.2, 1.2) + rng.normal(0, 2, len(day))
    flow = 30 * demand * speed / 2700
    head = HEAD[0] * speed**2 + HEAD[1] * speed * flow + HEAD[2] * flow**2
    power = POWER[0] * speed**3 + POWER[1] * speed**2 * flow + POWER[2] * speed * flow**2
    power += POWER[3] * speed + POWER[4]
    slow = np.repeat(rng.normal(0, drift, (3, days)), 86_400 // step_s, axis=1)
    return frame_of(
        MONDAY_UTC_MS + np.arange(len(day)) * step_s * 1000,
        speed_rpm=speed,
        flow_m3h=flow * (1 + slow[0] + rng.normal(0, 0.004, len(day))),
        head_m=head
        * (head_factor(day) if head_factor else 1.0)
        * (1 + slow[1] + rng.normal(0, 0.003, len(day))),
        power_w=power
        * (power_factor(day) if power_factor else 1.0)
        * (1 + slow[2] + rng.normal(0, 0.003, len(day))),
    )


@pytest.fixture
def make_frame() -> Callable[..., pd.DataFrame]:
    return frame_of


@pytest.fixture
def make_pump() -> Callable[..., pd.DataFrame]:
    return small_pump


@pytest.fixture
def measured() -> PumpFacts:
    return PumpFacts(pump="P01", speed=MEASURED, power=MEASURED, flow=MEASURED, head=MEASURED)


@pytest.fixture
def true_head() -> tuple[float, float, float]:
    return HEAD


@pytest.fixture
def true_power() -> tuple[float, float, float, float, float]:
    return POWER


@pytest.fixture
def monday_utc_ms() -> int:
    return MONDAY_UTC_MS
