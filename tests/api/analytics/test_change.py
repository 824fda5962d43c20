"""The change scan equals the textbook: generalised least squares with the full covariance matrix."""

from __future__ import annotations

import numpy as np
import pytest

from api.analytics.change import HOURS_ALIKE, OWN_RAMP_DAYS, DayNoise, Days, Whitened, by_day, day_noise

FLAT = np.array([100.0])


def days_of(level: np.ndarray, day: np.ndarray | None = None) -> Days:
    """One hour a day, a level as the only feature, a uniform template."""
    day = np.arange(len(level)) if day is None else day
    ones = np.ones(len(level))
    return by_day(day, ones[:, None], ones, level, FLAT)


def brute_force(days: Days, noise: DayNoise, template: np.ndarray) -> tuple[float, float]:
    """Effect and standard error from the full covariance of an autoregression, no whitening, no sums."""
    apart = np.abs(days.day[:, None] - days.day[None, :])
    covariance = noise.day_sd**2 * noise.autocorrelation**apart
    design = np.column_stack([np.ones(len(days.day)), template])
    normal = design.T @ np.linalg.solve(covariance, design)
    effect = np.linalg.solve(normal, design.T @ np.linalg.solve(covariance, days.mean[:, -1]))[1]
    return float(effect), float(np.sqrt(np.linalg.inv(normal)[1, 1]))


def autoregression(count: int, rho: float, sd: float, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    level = np.zeros(count)
    level[0] = rng.normal(0, sd)
    for place in range(1, count):
        level[place] = rho * level[place - 1] + rng.normal(0, sd * np.sqrt(1 - rho**2))
    return level


# Without hour noise the whitening is exact; a tiny one keeps the hours' part defined.
NOISE = DayNoise(day_sd=0.005, autocorrelation=0.7, hour_sd=1e-9)


@pytest.mark.parametrize("tau", [6, 20, 38])
def test_a_step_is_judged_as_by_generalised_least_squares(tau: int) -> None:
    days = days_of(autoregression(40, 0.7, 0.005, 1))
    scan = Whitened.of(days, NOISE).scan(39, tau)
    effect, error = brute_force(days, NOISE, (np.arange(40) >= tau).astype(float))
    assert scan.effect[0] == pytest.approx(effect, rel=1e-6)
    assert scan.standard_error[0] == pytest.approx(error, rel=1e-6)


@pytest.mark.parametrize("tau", [6, 15, 30])
def test_a_ramp_is_judged_as_by_generalised_least_squares(tau: int) -> None:
    days = days_of(autoregression(40, 0.7, 0.005, 2))
    scan = Whitened.of(days, NOISE).scan_ramp(39, tau, tau)
    ramp = np.maximum(np.arange(40.0) - tau, 0.0) / (39 - tau)
    effect, error = brute_force(days, NOISE, ramp)
    assert scan.effect[0] == pytest.approx(effect, rel=1e-6)
    assert scan.standard_error[0] == pytest.approx(error, rel=1e-6)


def test_days_without_readings_weigh_what_they_should() -> None:
    day = np.array([0, 1, 2, 3, 9, 10, 11, 20, 21, 22, 23, 24])
    days = days_of(autoregression(12, 0.7, 0.005, 3), day)
    scan = Whitened.of(days, NOISE).scan(11, 7)
    effect, error = brute_force(days, NOISE, (day >= 20).astype(float))
    assert scan.effect[0] == pytest.approx(effect, rel=1e-6)
    assert scan.standard_error[0] == pytest.approx(error, rel=1e-6)


def test_independent_days_give_the_two_sample_standard_error() -> None:
    # Any statistics text: the difference of two means has variance s² (1/n + 1/m).
    noise = DayNoise(day_sd=0.004, autocorrelation=0.0, hour_sd=1e-9)
    scan = Whitened.of(days_of(np.zeros(30)), noise).scan(29, 20)
    assert scan.standard_error[0] == pytest.approx(0.004 * np.sqrt(1 / 20 + 1 / 10), rel=1e-4)


def test_the_scan_of_a_prefix_ignores_what_comes_later() -> None:
    level = autoregression(60, 0.7, 0.005, 4)
    whole, part = Whitened.of(days_of(level), NOISE), Whitened.of(days_of(level[:40]), NOISE)
    assert whole.scan(39, 6).effect == pytest.approx(part.scan(39, 6).effect)


def test_noise_within_the_day_adds_to_a_day_of_few_hours() -> None:
    loud = DayNoise(day_sd=1e-6, autocorrelation=0.0, hour_sd=0.01)
    scan = Whitened.of(days_of(np.zeros(30)), loud).scan(29, 20)
    expected = 0.01 * np.sqrt(HOURS_ALIKE) * np.sqrt(1 / 20 + 1 / 10)
    assert scan.standard_error[0] == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("rho", [0.5, 0.75, 0.9])
def test_the_noise_of_a_long_record_is_recovered(rho: float) -> None:
    noise = day_noise(days_of(autoregression(1500, rho, 0.004, 5)))
    assert noise.autocorrelation == pytest.approx(rho, abs=0.07)
    assert noise.day_sd == pytest.approx(0.004, rel=0.25)


def test_a_fault_does_not_pass_for_noise() -> None:
    level = autoregression(90, 0.7, 0.004, 6)
    worn = level - 0.05 * (np.arange(90) >= 50)
    assert day_noise(days_of(worn)).day_sd == pytest.approx(day_noise(days_of(level)).day_sd, rel=0.25)


def test_a_slow_growth_does_not_pass_for_noise() -> None:
    # Too little yet to be taken for a step.
    level = autoregression(130, 0.7, 0.004, 8)
    worn = level - 0.01 * np.clip((np.arange(130) - 58) / 72, 0, 1)
    healthy, grown = day_noise(days_of(level)), day_noise(days_of(worn))
    assert grown.day_sd == pytest.approx(healthy.day_sd, rel=0.05)
    assert grown.autocorrelation == healthy.autocorrelation


def test_in_the_first_weeks_a_wander_is_noise_and_no_growth() -> None:
    wander = np.linspace(-0.015, 0.015, OWN_RAMP_DAYS)
    short, long = (day_noise(days_of(wander[:count])) for count in (OWN_RAMP_DAYS - 1, OWN_RAMP_DAYS))
    assert long.day_sd < 0.7 * short.day_sd


def test_false_alarms_of_the_scan_are_as_rare_as_the_limit_says() -> None:
    # With known noise each z is standard normal; over 35 correlated change days, |z| >= 5 has a chance
    # below 35 × 5.7e-7 (union bound), so that none in 300 records is what must be seen.
    strongest = [
        np.abs(Whitened.of(days_of(autoregression(40, 0.7, 0.005, seed)), NOISE).scan(39, 5).z).max()
        for seed in range(300)
    ]
    assert max(strongest) < 5
    assert np.median(strongest) > 1.5
