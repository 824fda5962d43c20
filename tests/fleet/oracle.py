"""The best that anyone could do: a CUSUM told the size of the change and the sensors' true noise.

Run lengths by Siegmund's corrected diffusion approximation, ``(exp(-2 d b) + 2 d b - 1) / (2 d²)`` with
``b = h + 1.166`` and ``d`` the drift of the sum a step (D. Siegmund, Sequential Analysis, Springer 1985;
formula from memory, held to published run lengths in ``test_oracle.py``).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from api.analytics.residuals import Residuals
from simulator.plant.spec import FaultKind, PumpSpec

OVERSHOOT: Final = 1.166
"""Twice the mean excess over a barrier, 0.583 deviations on each side."""

FALSE_ALARM_DAYS: Final = 365.25
"""The oracle may be wrong once a year, far more often than the product: that makes it quicker."""

MEMORY: Final = 0.6
"""Correlation of the simulated sensors' drift from day to day."""

POWER_OF_EROSION: Final = 0.85


def run_length(drift: float, limit: float) -> float:
    """Return the mean number of steps until a one-sided CUSUM of unit deviation crosses ``limit``."""
    height = limit + OVERSHOOT
    if abs(drift) < 1e-9:
        return height**2
    return float((np.exp(-2 * drift * height) + 2 * drift * height - 1) / (2 * drift**2))


def limit_for(steps: float, shift: float) -> float:
    """Return the limit of the CUSUM for a known ``shift`` [deviations] that is wrong once in ``steps``."""
    low, high = -OVERSHOOT, 200.0 / shift
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if run_length(-shift / 2, middle) < steps else (low, middle)
    return (low + high) / 2


def delay_days(shift: float, looks_a_day: int = 1) -> float:
    """Return the oracle's mean delay [d] for a shift in deviations a day, one look at least.

    A look more often than once a day is given its part of the day's information, as if the drift within a day
    were as free as that from day to day: more than there is, so that no look knows less than it could.
    """
    a_look = shift / np.sqrt(looks_a_day)
    limit = max(limit_for(FALSE_ALARM_DAYS * looks_a_day, a_look), 0.0)
    return max(1.0, run_length(a_look / 2, limit)) / looks_a_day


def oracle_days(
    fault: FaultKind, loss: float, pump: PumpSpec, judged: Residuals, looks_a_day: int = 1
) -> float:
    """Return the oracle's mean delay [d] for a step of wear: head and power used, all noise known.

    Each sensor drifts as a first-order autoregression; a shift held for days is worth
    ``(1 - r) / (1 + r)`` of what it would be with days that know nothing of each other.
    """
    head_lever, power_lever = float(np.median(judged.flow_lever)), float(np.median(judged.power_lever))
    along = float(np.clip(power_lever / min(head_lever, -0.05), -3.0, 3.0))
    lost = np.array([-1.0, -POWER_OF_EROSION if fault == "impeller_wear" else -along]) * loss
    by_flow = np.array([head_lever, power_lever])
    covariance = pump.sensor.slow_bias**2 * (np.eye(2) + np.outer(by_flow, by_flow))
    squared = float(lost @ np.linalg.solve(covariance, lost)) * (1 - MEMORY) / (1 + MEMORY)
    return delay_days(float(np.sqrt(squared)), looks_a_day)
