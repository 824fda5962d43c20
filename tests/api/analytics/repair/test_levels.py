"""Levels before and since are told with an error that holds: against closed forms, and on drawn noise."""

from __future__ import annotations

import numpy as np
import pytest

from api.analytics.change import DayNoise, Days, by_day
from api.analytics.repair.levels import error_after, levels

HOURS_A_DAY = 24


def days_of(level: np.ndarray, day: np.ndarray, rng: np.random.Generator, hour_sd: float = 0.002) -> Days:
    """Return days of hours about these daily levels, without anything that the curve's form explains."""
    hours = np.repeat(day, HOURS_A_DAY)
    residual = np.repeat(level, HOURS_A_DAY) + hour_sd * rng.standard_normal(len(hours))
    ones = np.ones(len(hours))
    return by_day(hours, ones[:, None], ones, residual, np.array([1.0]))


def drift(count: int, noise: DayNoise, rng: np.random.Generator) -> np.ndarray:
    """Return an autoregressive drift of order one with this spread, stationary from its first day."""
    drawn = rng.standard_normal(count)
    found = np.empty(count)
    found[0] = noise.day_sd * drawn[0]
    step = noise.day_sd * np.sqrt(1 - noise.autocorrelation**2)
    for place in range(1, count):
        found[place] = noise.autocorrelation * found[place - 1] + step * drawn[place]
    return found


@pytest.mark.parametrize("change", [0.0, 0.04, -0.04])
def test_a_step_is_found_in_size_and_sign(change: float) -> None:
    day, rng = np.arange(-28, 28), np.random.default_rng(1)
    found = levels(days_of(np.where(day >= 0, change - 0.04, -0.04), day, rng))
    assert found is not None
    assert found.change == pytest.approx(change, abs=5e-4)
    assert found.before == pytest.approx(-0.04, abs=5e-4)
    assert (found.before_days, found.since_days, found.hours_a_day) == (28, 28, HOURS_A_DAY)


@pytest.mark.parametrize("side", [slice(0, 28), slice(28, 56)])
def test_one_side_alone_tells_nothing(side: slice) -> None:
    day, rng = np.arange(-28, 28)[side], np.random.default_rng(1)
    assert levels(days_of(np.zeros(len(day)), day, rng)) is None


@pytest.mark.parametrize("since_days", [1, 7, 28])
def test_the_interval_holds_the_truth_in_nineteen_of_twenty(since_days: int) -> None:
    rng, noise = np.random.default_rng(since_days), DayNoise(day_sd=0.004, autocorrelation=0.7, hour_sd=0.002)
    day = np.arange(-28, since_days)
    held = 0
    for _ in range(400):
        found = levels(days_of(drift(len(day), noise, rng) + np.where(day >= 0, 0.05, 0.0), day, rng))
        assert found is not None
        held += abs(found.change - 0.05) <= 1.96 * found.change_error
    # 380 of 400 are to be expected; what the days' own noise leaves open costs a few.
    assert held >= 372


def test_days_that_do_not_resemble_each_other_give_the_textbook_error_of_two_means() -> None:
    """Var(mean) = s²/n for independent values (any textbook of statistics); the drift is nearly none here."""
    rng = np.random.default_rng(5)
    found = levels(days_of(np.zeros(56), np.arange(-28, 28), rng))
    assert found is not None
    alone = DayNoise(day_sd=0.006, autocorrelation=1e-9, hour_sd=1e-6)
    plain = type(found)(
        **{name: getattr(found, name) for name in found.__slots__ if name != "noise"} | {"noise": alone}
    )
    assert error_after(plain, 28) == pytest.approx(0.006 * np.sqrt(1 / 28 + 1 / 28), rel=1e-3)


def test_the_error_to_come_falls_with_each_day_and_meets_the_error_that_is() -> None:
    rng, noise = np.random.default_rng(9), DayNoise(day_sd=0.004, autocorrelation=0.7, hour_sd=0.002)
    found = levels(days_of(drift(38, noise, rng), np.arange(-28, 10), rng))
    assert found is not None
    to_come = [error_after(found, days) for days in range(1, 29)]
    assert to_come == sorted(to_come, reverse=True)
    assert to_come[9] == pytest.approx(found.change_error, rel=0.02)


def test_the_level_against_the_curve_is_less_sure_than_the_change_of_a_long_stretch() -> None:
    rng, noise = np.random.default_rng(2), DayNoise(day_sd=0.004, autocorrelation=0.7, hour_sd=0.002)
    found = levels(days_of(drift(56, noise, rng), np.arange(-28, 28), rng))
    assert found is not None
    assert found.since_error(28, 0.001) > np.sqrt(found.covariance[1, 1])
    assert found.since_error(4, 0.001) > found.since_error(28, 0.001)


def test_what_the_form_of_the_curve_explains_is_no_change_of_the_pump() -> None:
    """Flow moves with the work and the residual leans over flow: the hours of each day tell the lean."""
    rng, day = np.random.default_rng(3), np.arange(-28, 28)
    hours = np.repeat(day, HOURS_A_DAY)
    flow = 0.5 * rng.standard_normal(len(hours)) + np.where(hours >= 0, 0.4, -0.4)
    features = np.column_stack([np.ones(len(hours)), flow])
    residual = 0.03 * flow + 0.002 * rng.standard_normal(len(hours))
    plain = by_day(hours, features[:, :1], np.ones(len(hours)), residual, np.array([0.05]))
    leaning = by_day(hours, features, np.ones(len(hours)), residual, np.array([0.05, 0.04]))
    told, fooled = levels(leaning), levels(plain)
    assert told is not None
    assert fooled is not None
    assert abs(fooled.change) > 0.02
    assert abs(told.change) < 1.96 * told.change_error
