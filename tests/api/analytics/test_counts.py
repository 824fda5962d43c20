"""Intervals of rare counts are the published ones, at any count."""

from __future__ import annotations

import math

import pytest
from scipy.stats import chi2

from api.analytics.counts import rate


@pytest.mark.parametrize(
    ("events", "low", "high"),
    # Source: Garwood, Biometrika 28, 1936, as tabled in Pearson and Hartley, Biometrika Tables I, table 40
    # (from memory): 95 % limits of a Poisson mean.
    [(0, 0.0, 3.689), (1, 0.0253, 5.572), (5, 1.623, 11.67), (10, 4.795, 18.39)],
)
def test_limits_are_those_of_the_published_table(events: int, low: float, high: float) -> None:
    found = rate(events, 1.0)
    assert (found.low, found.high) == (pytest.approx(low, abs=5e-4), pytest.approx(high, abs=5e-3))


@pytest.mark.parametrize("events", [0, 1, 3, 40, 1000, 5000])
def test_limits_are_those_of_the_chi_square_distribution(events: int) -> None:
    # Reference library: scipy's chi-square quantiles, by which the exact limits have a closed form.
    found = rate(events, 2.0)
    low = chi2.ppf(0.025, 2 * events) / 2 if events else 0.0
    assert found.low == pytest.approx(low / 2, rel=1e-6)
    assert found.high == pytest.approx(chi2.ppf(0.975, 2 * events + 2) / 4, rel=1e-6)


def test_without_exposure_nothing_bounds_the_rate() -> None:
    assert rate(0, 0.0).high == math.inf


def test_a_longer_silence_bounds_the_rate_in_proportion() -> None:
    assert rate(0, 20.0).high == pytest.approx(rate(0, 2.0).high / 10)
