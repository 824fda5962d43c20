"""When, how much and how surely a residual changed its level for good: a growing-baseline likelihood ratio.

Model of hour i on day d: ``y_i = x_i · beta + delta t_i [d >= tau] + bias_d + noise_i``, with ``beta``
loosely believed near zero (what the curve's form leaves unexplained), and ``bias_d`` the sensors' slow
drift, autoregressive of order one over days. ``beta`` is a nuisance, fitted jointly for every change day,
so everything before the change day is the baseline, and it grows. Generalised likelihood ratio for a
change of unknown size: Siegmund and Venkatraman, Annals of Statistics 23, 1995 (title read).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

HOURS_ALIKE: Final = 4.0
"""Neighbouring hours share their error, so that this many count as one when the curve's shape is judged."""

DAY_SD_BELIEF: Final = 0.004
DAY_BELIEF_WEIGHT: Final = 8.0
"""Sensors drift 0.2-0.5 % from day to day (own study); worth this many observed days."""

AUTOCORRELATIONS: Final = np.array([0.3, 0.45, 0.6, 0.7, 0.8, 0.87, 0.93])


@dataclass(frozen=True, slots=True, kw_only=True)
class DayNoise:
    """Stationary spread of the daily bias [-], its correlation from day to day, and the hours' spread [-]."""

    day_sd: float
    autocorrelation: float
    hour_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """Hours summed up by day.

    ``mean`` is [days, k + 2]: features, template, residual. ``inside`` is the scatter of features and
    residual within each day, [days, k + 1, k + 1]. ``belief_sd`` [k] bounds the features' coefficients.
    """

    day: IntArray
    hours: FloatArray
    mean: FloatArray
    inside: FloatArray
    belief_sd: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """For the last day given: each candidate change day with its effect [-] and standard error [-]."""

    change_day: IntArray
    effect: FloatArray
    standard_error: FloatArray

    @property
    def z(self) -> FloatArray:
        """Return the effects in standard errors."""
        return self.effect / self.standard_error


def by_day(
    day: IntArray, features: FloatArray, template: FloatArray, residual: FloatArray, belief_sd: FloatArray
) -> Days:
    """Sum hours up by day."""
    days, group = np.unique(day, return_inverse=True)
    count = np.bincount(group).astype(float)
    columns = np.column_stack([features, template, residual])
    mean = np.column_stack([np.bincount(group, column) for column in columns.T]) / count[:, None]
    off = np.delete(columns - mean[group], features.shape[1], axis=1)
    starts = np.flatnonzero(np.append(True, group[1:] != group[:-1]))
    inside = np.add.reduceat(off[:, :, None] * off[:, None, :], starts, axis=0)
    return Days(day=days, hours=count, mean=mean, inside=inside, belief_sd=belief_sd)


def day_noise(days: Days) -> DayNoise:
    """Judge the noise from the days given, robustly: a single step in them changes little."""
    rough = DayNoise(day_sd=DAY_SD_BELIEF, autocorrelation=0.6, hour_sd=_hour_sd(days, None))
    beta = Whitened.of(days, rough).beta()
    level = days.mean[:, -1] - days.mean[:, :-2] @ beta
    lag_one, lag_week = _lag_variance(days.day, level, 1), _lag_variance(days.day, level, 7)
    model = (1 - AUTOCORRELATIONS) / (1 - AUTOCORRELATIONS**7)
    rho = float(AUTOCORRELATIONS[np.argmin(np.abs(model - lag_one / lag_week))])
    day_sd = float(np.sqrt(lag_one / (2 * (1 - rho))))
    return DayNoise(day_sd=day_sd, autocorrelation=rho, hour_sd=_hour_sd(days, beta))


def _hour_sd(days: Days, beta: FloatArray | None) -> float:
    contrast = np.append(np.zeros(days.inside.shape[1] - 1) if beta is None else -beta, 1.0)
    spread = np.einsum("dij,i,j->d", days.inside, contrast, contrast)
    many = days.hours > 1
    return max(float(np.sqrt(np.median(spread[many] / (days.hours[many] - 1)))) if many.any() else 0.0, 2e-4)


def _lag_variance(day: IntArray, level: FloatArray, lag: int) -> float:
    later = np.searchsorted(day, day + lag)
    fits = (later < len(day)) & (day[np.minimum(later, len(day) - 1)] == day + lag)
    difference = level[later[fits]] - level[fits]
    believed = 2 * DAY_SD_BELIEF**2 * (1 - 0.6**lag)
    robust = (1.4826 * float(np.median(np.abs(difference)))) ** 2 if len(difference) else believed
    return (DAY_BELIEF_WEIGHT * believed + len(difference) * robust) / (DAY_BELIEF_WEIGHT + len(difference))


@dataclass(frozen=True, slots=True, kw_only=True)
class Whitened:
    """Running sums over days of the whitened normal equations; row d holds the sums of days 0 to d.

    ``normal`` [days, k, k] and ``right`` [days, k] for the features alone; ``step_*`` sum the products of
    the template on days after a change with features, residual and itself; ``first_*`` are the same of the
    change day itself, when only that day of the pair carries the template.
    """

    day: IntArray
    normal: FloatArray
    right: FloatArray
    step_features: FloatArray
    step_residual: FloatArray
    step_step: FloatArray
    first_features: FloatArray
    first_residual: FloatArray
    first_step: FloatArray

    @classmethod
    def of(cls, days: Days, noise: DayNoise) -> Whitened:
        """Whiten day means as an autoregression over days, and hours within days by their spread."""
        k = days.mean.shape[1] - 2
        carry = noise.autocorrelation ** np.append(np.inf, np.diff(days.day))
        variance = noise.day_sd**2 * (1 - carry**2) + HOURS_ALIKE * noise.hour_sd**2 / days.hours
        before = np.vstack([np.zeros((1, k + 2)), days.mean[:-1]])
        white = (days.mean - carry[:, None] * before) / np.sqrt(variance)[:, None]
        first = days.mean[:, k] / np.sqrt(variance)
        inside = days.inside / (HOURS_ALIKE * noise.hour_sd**2)
        x, t, y = white[:, :k], white[:, k], white[:, k + 1]
        belief = np.diag(1 / days.belief_sd**2)
        return cls(
            day=days.day,
            normal=belief + np.cumsum(x[:, :, None] * x[:, None, :] + inside[:, :k, :k], axis=0),
            right=np.cumsum(x * y[:, None] + inside[:, :k, k], axis=0),
            step_features=np.cumsum(t[:, None] * x, axis=0),
            step_residual=np.cumsum(t * y),
            step_step=np.cumsum(t * t),
            first_features=first[:, None] * x,
            first_residual=first * y,
            first_step=first * first,
        )

    def beta(self) -> FloatArray:
        """Return the features' coefficients over all days, no change supposed."""
        return np.asarray(np.linalg.solve(self.normal[-1], self.right[-1]))

    def scan(self, last: int, earliest: int) -> Scan:
        """Judge every change day from place ``earliest`` to ``last``, from the days up to ``last``."""
        tau = np.arange(earliest, last + 1)
        cross = self.step_features[last] - self.step_features[tau] + self.first_features[tau]
        reply = self.step_residual[last] - self.step_residual[tau] + self.first_residual[tau]
        own = self.step_step[last] - self.step_step[tau] + self.first_step[tau]
        solved = np.linalg.solve(self.normal[last], np.column_stack([self.right[last], cross.T]))
        information = own - np.einsum("ij,ji->i", cross, solved[:, 1:])
        effect = (reply - cross @ solved[:, 0]) / np.maximum(information, 1e-12)
        return Scan(
            change_day=self.day[tau],
            effect=effect,
            standard_error=1 / np.sqrt(np.maximum(information, 1e-12)),
        )
