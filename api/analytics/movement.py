"""How far head and power moved since a day of change, over flow and over speed: six numbers and their error.

The residuals of the hours after the change, less what the days before foretell, are regressed on
``1, u, s``: level, slope over flow/speed, slope over speed. A cause's template goes through the same
regression, so that what it should look like and what was seen are compared like for like.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.change import HOURS_ALIKE, SHAPE_HOURS_ALIKE, DayNoise
from api.analytics.residuals import Residuals

FloatArray = NDArray[np.float64]

SHAPE_COLUMNS: Final = (0, 1, 4)
"""Places of level, flow/speed and speed among the features of the residuals."""

SLOPE_RIDGE_SD: Final = 0.3
"""A slope is shrunk where flow or speed spread less than this share of a wide move."""

FORM_SD: Final = np.array([0.001, 0.003, 0.002, 0.003, 0.006, 0.008])
"""What the curve's form may leave in level and slopes of head, then of power [-] (tuning families)."""

LEAST_HOURS: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """``value`` [6]: level and slopes of head, then of power [-]; ``covariance`` [6, 6] is their error.

    ``hours`` are those after the change that were used, ``operator`` [3, hours] turns a value of each hour
    into level and slopes.
    """

    value: FloatArray
    covariance: FloatArray
    hours: Residuals
    operator: FloatArray

    def of(self, head: FloatArray | float, power: FloatArray | float) -> FloatArray:
        """Return the six numbers of a template given by hour (or as a constant)."""
        ones = np.ones(self.operator.shape[1])
        return np.concatenate([self.operator @ (head * ones), self.operator @ (power * ones)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Foretold:
    """What the days before a change know: coefficients of the features, noise, how many days and hours."""

    head: FloatArray
    power: FloatArray
    head_noise: DayNoise
    power_noise: DayNoise
    days: int
    hours: int


def movement(after: Residuals, foretold: Foretold) -> Movement | None:
    """Return how head and power moved in the hours ``after``; ``None`` where too few are like for like."""
    late = after.where(after.in_baseline_cells & after.power_is_calm)
    if len(late.day) < LEAST_HOURS:
        return None
    operator = _operator(late.features[:, SHAPE_COLUMNS])
    moved = (late.head - late.features @ foretold.head, late.power - late.features @ foretold.power)
    return Movement(
        value=np.concatenate([operator @ part for part in moved]),
        covariance=_covariance(late, operator, foretold),
        hours=late,
        operator=operator,
    )


def _operator(basis: FloatArray) -> FloatArray:
    ridge = np.diag([0.0, SLOPE_RIDGE_SD**2, SLOPE_RIDGE_SD**2]) * len(basis) * 0.05
    return np.asarray(np.linalg.solve(basis.T @ basis + ridge, basis.T))


def _covariance(late: Residuals, operator: FloatArray, foretold: Foretold) -> FloatArray:
    days = len(np.unique(late.day))
    zero = np.zeros_like(operator @ late.head)
    level = operator @ np.ones(len(late.day))
    # The three sensors drift each by itself; a drift of the flow meter moves both residuals by the levers.
    drift = foretold.head_noise.day_sd / np.sqrt(2), foretold.power_noise.day_sd / np.sqrt(2)
    biases = (
        drift[0] * np.concatenate([level, zero]),
        drift[1] * np.concatenate([zero, level]),
        drift[0] * np.concatenate([operator @ late.flow_lever, operator @ late.power_lever]),
    )
    seldom = _of_means(days, foretold.head_noise) + _of_means(foretold.days, foretold.head_noise)
    alike = np.diag([HOURS_ALIKE, SHAPE_HOURS_ALIKE, SHAPE_HOURS_ALIKE]) ** 0.5
    spread = alike @ operator @ operator.T @ alike
    within = np.zeros((6, 6))
    within[:3, :3] = spread * foretold.head_noise.hour_sd**2
    within[3:, 3:] = spread * foretold.power_noise.hour_sd**2
    return np.asarray(sum(np.outer(bias, bias) for bias in biases) * seldom + within + np.diag(FORM_SD**2))


def _of_means(days: int, noise: DayNoise) -> float:
    # Days in a row resemble each other: a mean over them is worth fewer that do not.
    rho = noise.autocorrelation
    return min(1.0, (1 + rho) / (1 - rho) / max(days, 1))
