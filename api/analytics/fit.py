"""Robust least squares over hours, with a random effect for each day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

HUBER_K: Final = 1.345
"""Huber's tuning constant: 95 % efficient for normal errors (from memory)."""
ROUNDS: Final = 8
LEAST_RELATIVE_SD: Final = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class DayFit:
    """Coefficients, relative residuals of each hour [-], and their spread within and between days [-]."""

    coefficients: FloatArray
    residual: FloatArray
    hour_sd: float
    day_sd: float


def fit_by_day(
    terms: FloatArray,
    observed: FloatArray,
    day: NDArray[np.int64],
    at_duty: FloatArray,
    belief: FloatArray,
    belief_sd: FloatArray,
) -> DayFit:
    """Fit ``observed ≈ terms @ coefficients`` by relative error, days sharing a bias, outliers held down.

    ``terms`` is [hours, k], ``at_duty`` the k terms at the duty point. Each coefficient times its term at
    duty, as a share of the observed middle, is loosely believed to be ``belief`` ± ``belief_sd`` [-]: it
    decides only what the data leave open.
    """
    scale = float(np.median(observed)) / at_duty
    relative = terms * scale / observed[:, None]
    _, group = np.unique(day, return_inverse=True)
    weight = np.ones(len(observed))
    hour_sd, day_sd = 0.01, 0.005
    for _ in range(ROUNDS):
        shares = _solve(relative, group, weight, hour_sd, day_sd, belief, belief_sd)
        residual = 1.0 - relative @ shares
        hour_sd, day_sd, weight = _spreads(residual, group)
    return DayFit(coefficients=shares * scale, residual=residual, hour_sd=hour_sd, day_sd=day_sd)


def _solve(
    relative: FloatArray,
    group: NDArray[np.intp],
    weight: FloatArray,
    hour_sd: float,
    day_sd: float,
    belief: FloatArray,
    belief_sd: FloatArray,
) -> FloatArray:
    # Generalised least squares: V = hour_sd² W⁻¹ + day_sd² within a day, inverted by the rank-one formula.
    total = np.bincount(group, weight)
    shrink = day_sd**2 / (hour_sd**2 + day_sd**2 * total)
    day_sums = np.column_stack([np.bincount(group, weight * column) for column in relative.T])
    normal = relative.T @ (relative * weight[:, None]) - day_sums.T @ (day_sums * shrink[:, None])
    right = relative.T @ weight - day_sums.T @ (shrink * total)
    ridge = (hour_sd / belief_sd) ** 2
    return np.asarray(np.linalg.solve(normal + np.diag(ridge), right + ridge * belief))


def _spreads(residual: FloatArray, group: NDArray[np.intp]) -> tuple[float, float, FloatArray]:
    counts = np.bincount(group)
    day_mean = np.bincount(group, residual) / counts
    inside = residual - day_mean[group]
    hour_sd = max(_robust_sd(inside), LEAST_RELATIVE_SD)
    day_sd = max(_robust_sd(day_mean), LEAST_RELATIVE_SD)
    distance = np.abs(residual) / np.hypot(hour_sd, day_sd)
    return hour_sd, day_sd, np.minimum(1.0, HUBER_K / np.maximum(distance, 1e-12))


def _robust_sd(values: FloatArray) -> float:
    # 1.4826 makes the median absolute deviation the standard deviation of a normal distribution.
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))
