"""Without a change the likelihood ratio is silent for as long as the published theory says.

D. Siegmund and E. S. Venkatraman, Annals of Statistics 23 (1995), 255-271: the mean run length of the
likelihood ratio for a change of unknown size, both signs, mean known before the change, to a false alarm at
``b`` standard errors is about ``sqrt(2 pi) exp(b²/2) / (b ∫ x nu²(x) dx)``, from ``b / sqrt(longest)`` to
``b / sqrt(shortest)`` where changes of ``shortest`` to ``longest`` steps are looked for; and
``nu(x) = exp(-0.583 x)``, near enough (title read; formula from memory, derived again by hand from the rate
of a Gaussian field's high clumps).
"""

from __future__ import annotations

import numpy as np
import pytest

from api.analytics.change import DayNoise, Whitened, by_day
from api.analytics.limits import HEAD_LIMITS
from api.analytics.watch import LEAST_DAYS_AFTER, LONGEST_LOOK_BACK_DAYS

KNOWN = np.array([1e-9])
"""A level believed in so firmly is known, as the theory supposes."""

RUNS = 150
LONGEST_RUN = 1000


def published_run_length(limit: float, shortest: int, longest: int) -> float:
    low, high = limit / np.sqrt(longest), limit / np.sqrt(shortest)
    x = np.linspace(low, high, 20_001)
    integral = float(np.trapezoid(x * np.exp(-2 * 0.583 * x), x))
    return float(np.sqrt(2 * np.pi) * np.exp(limit**2 / 2) / (limit * integral))


def whitened(values: np.ndarray, noise: DayNoise) -> Whitened:
    day, ones = np.arange(len(values)), np.ones(len(values))
    return Whitened.of(by_day(day, ones[:, None], ones, values, KNOWN), noise)


def run_length(sums: Whitened, limit: float, shortest: int) -> int:
    for last in range(shortest, len(sums.day)):
        if np.abs(sums.scan(last, 1, last + 1 - shortest).z).max() >= limit:
            return last
    return len(sums.day)


def mean_run_length(rho: float, limit: float, shortest: int) -> float:
    noise, runs = DayNoise(day_sd=1.0, autocorrelation=rho, hour_sd=1e-6), []
    for seed in range(RUNS):
        fresh = np.random.default_rng([11, seed]).normal(size=LONGEST_RUN)
        values = np.empty(LONGEST_RUN)
        values[0] = fresh[0]
        for day in range(1, LONGEST_RUN):
            values[day] = rho * values[day - 1] + np.sqrt(1 - rho**2) * fresh[day]
        runs.append(run_length(whitened(values, noise), limit, shortest))
    return float(np.mean(runs))


@pytest.mark.parametrize("shortest", [1, LEAST_DAYS_AFTER])
@pytest.mark.parametrize("limit", [2.5, 3.0])
def test_on_white_noise_the_run_length_is_the_published_one(limit: float, shortest: int) -> None:
    published = published_run_length(limit, shortest, LONGEST_RUN)
    assert mean_run_length(0.0, limit, shortest) == pytest.approx(published, rel=0.25)


def test_whitened_drift_is_as_silent_as_white_noise() -> None:
    published = published_run_length(3.0, 1, LONGEST_RUN)
    assert mean_run_length(0.6, 3.0, 1) == pytest.approx(published, rel=0.25)


def test_the_limit_in_use_is_crossed_by_chance_once_in_centuries() -> None:
    days = published_run_length(HEAD_LIMITS.z, LEAST_DAYS_AFTER, LONGEST_LOOK_BACK_DAYS)
    assert days / 365.25 > 300
