"""The day a change began: steps keep the day that the scan found, growths are dated from where they start."""

from __future__ import annotations

import numpy as np
import pytest

from api.analytics.onset import LEAST_DAYS, onset_day

DAY = np.arange(100, 190)


def noisy(shape: np.ndarray, seed: int = 0) -> np.ndarray:
    return shape + np.random.default_rng(seed).normal(0, 0.003, len(shape))


@pytest.mark.parametrize("growth", [4, 8, 20, 45])
@pytest.mark.parametrize("start", [130, 140])
def test_a_growth_that_has_come_to_rest_is_dated_from_its_start(growth: int, start: int) -> None:
    off = noisy(-0.08 * np.clip((DAY - start) / growth, 0, 1))
    found = onset_day(DAY, off, start + growth // 3, start + growth // 2)
    assert found == pytest.approx(start, abs=max(2, growth // 8))


@pytest.mark.parametrize("seed", range(10))
def test_a_step_keeps_its_day(seed: int) -> None:
    assert onset_day(DAY, noisy(-0.03 * (DAY >= 150), seed), 150, 151) == 150


def test_too_few_days_keep_the_day_of_the_scan() -> None:
    day = DAY[: 50 + LEAST_DAYS - 1]
    assert onset_day(day, noisy(-0.001 * np.maximum(day - 140.0, 0)), 150, 152) == 150


def test_a_growth_that_goes_on_is_dated_too() -> None:
    off = noisy(-0.002 * np.maximum(DAY - 120.0, 0))
    assert onset_day(DAY, off, 135, 140) == pytest.approx(120, abs=4)


def test_a_growth_that_was_dated_too_early_is_dated_later() -> None:
    off = noisy(-0.08 * np.clip((DAY - 150) / 8, 0, 1))
    assert onset_day(DAY, off, 143, 153) == pytest.approx(150, abs=2)
