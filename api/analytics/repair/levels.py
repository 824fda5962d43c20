"""The level of a residual before and since a piece of work, with the error that slow drift leaves in both.

Model of a day's mean, as in :mod:`api.analytics.change`: ``y_d = x_d · beta + level_before or level_since +
bias_d + noise_d``, with ``bias_d`` autoregressive of order one over days and ``beta`` (what the curve's form
leaves unexplained) loosely believed near zero and told by how the hours of each day differ. The two levels
are the generalised least squares estimate (A. C. Aitken, Proceedings of the Royal Society of Edinburgh 55,
1936; from memory), so their covariance is exact under the model however few days there are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.change import DAY_BELIEF_WEIGHT, HOURS_ALIKE, SHAPE_HOURS_ALIKE, DayNoise, Days, day_noise

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SHAPE_OF_FAULT: Final = 0.4
"""How far a fault may bend a curve, as a share of what its form may leave unexplained (tuning families)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Levels [-] before and since, their covariance [2, 2], and how many days and hours tell them."""

    before: float
    since: float
    covariance: FloatArray
    noise: DayNoise
    before_days: int
    since_days: int
    hours_a_day: float

    @property
    def change(self) -> float:
        """Return since minus before [-]."""
        return self.since - self.before

    @property
    def change_error(self) -> float:
        """Return the standard error of the change [-]."""
        contrast = np.array([-1.0, 1.0])
        return float(np.sqrt(contrast @ self.covariance @ contrast))

    def since_error(self, baseline_days: int, form_sd: float) -> float:
        """Return the standard error [-] of the level since, against a curve of so many days.

        ``form_sd`` [-] is what the curve's form may be wrong by where it was learned.
        """
        rho = self.noise.autocorrelation
        seldom = min(1.0, (1 + rho) / (1 - rho) / max(baseline_days, 1))
        learned = seldom * self.noise.day_sd**2 + form_sd**2
        return float(np.sqrt(self.covariance[1, 1] + learned))


def levels(days: Days) -> Levels | None:
    """Return the levels of days counted from the work (negative: before), ``None`` without both."""
    is_since = days.day >= 0
    if not is_since.any() or is_since.all():
        return None
    noise = _noise(days, is_since)
    step = days.mean[:, -2]
    design = np.column_stack([np.where(is_since, 0.0, step), np.where(is_since, step, 0.0)])
    offset, spread = _of_form(days, noise)
    solved = np.linalg.inv(_drift(days.day, days.hours, noise) + spread)
    covariance = np.linalg.inv(design.T @ solved @ design)
    before, since = (covariance @ (design.T @ solved @ (days.mean[:, -1] - offset))).tolist()
    return Levels(
        before=before,
        since=since,
        covariance=covariance,
        noise=noise,
        before_days=int((~is_since).sum()),
        since_days=int(is_since.sum()),
        hours_a_day=float(np.median(days.hours)),
    )


def error_after(known: Levels, since_days: int) -> float:
    """Return the standard error [-] that the change will have once there are so many days since the work."""
    day = np.arange(-known.before_days, since_days)
    hours = np.full(len(day), max(known.hours_a_day, 1.0))
    design = np.column_stack([day < 0, day >= 0]).astype(float)
    covariance = np.linalg.inv(design.T @ np.linalg.inv(_drift(day, hours, known.noise)) @ design)
    contrast = np.array([-1.0, 1.0])
    return float(np.sqrt(contrast @ covariance @ contrast))


def _noise(days: Days, is_since: NDArray[np.bool_]) -> DayNoise:
    """Judge the noise from both stretches, each about its own level: the work's effect is no noise."""
    step, value = days.mean[:, -2], days.mean[:, -1].copy()
    for stretch in (is_since, ~is_since):
        level = float(step[stretch] @ value[stretch] / (step[stretch] @ step[stretch]))
        value[stretch] -= level * step[stretch]
    noise = day_noise(replace(days, mean=np.column_stack([days.mean[:, :-1], value])))
    # Two levels were taken out, which two of so many independent days are lost to.
    rho = noise.autocorrelation
    independent = len(value) * (1 - rho) / (1 + rho) + DAY_BELIEF_WEIGHT
    return replace(noise, day_sd=noise.day_sd * float(np.sqrt(independent / (independent - 2))))


def _drift(day: IntArray, hours: FloatArray, noise: DayNoise) -> FloatArray:
    apart = np.abs(day[:, None] - day[None, :]).astype(float)
    within = HOURS_ALIKE * noise.hour_sd**2 / hours
    return np.asarray(noise.day_sd**2 * noise.autocorrelation**apart + np.diag(within))


def _of_form(days: Days, noise: DayNoise) -> tuple[FloatArray, FloatArray]:
    """Return what the curve's form explains of each day's mean, and the covariance of what it leaves.

    What stood before had a shape of its own over flow and speed, which must not colour the level since: the
    days before have departures of their own beside those of all days, ``SHAPE_OF_FAULT`` as wide.
    """
    # The first feature is the level itself, which is what is asked for here.
    is_before = days.day < 0
    features = days.mean[:, 1:-2]
    both = np.hstack([features, features * is_before[:, None]])
    all_days, before = (
        days.inside[kept].sum(axis=0) / (SHAPE_HOURS_ALIKE * noise.hour_sd**2)
        for kept in (is_before | True, is_before)
    )
    belief = np.diag(1 / days.belief_sd[1:] ** 2)
    whole, part = all_days[1:-1, 1:-1], before[1:-1, 1:-1]
    left = np.linalg.inv(np.block([[whole + belief, part], [part, part + belief / SHAPE_OF_FAULT**2]]))
    reply = np.concatenate([all_days[1:-1, -1], before[1:-1, -1]])
    return np.asarray(both @ (left @ reply)), np.asarray(both @ left @ both.T)
