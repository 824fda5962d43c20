"""The oracle's run lengths are those that textbooks print, and nothing beats the bound of theory."""

from __future__ import annotations

import numpy as np
import pytest

from tests.fleet.oracle import delay_days, limit_for, run_length

# Montgomery, Introduction to Statistical Quality Control, table of two-sided CUSUM with k = 1/2 (from
# memory): run length for a shift of the mean in deviations, limits h = 4 and h = 5.
PUBLISHED_K_HALF = [
    (4.0, 0.0, 168.0), (4.0, 0.5, 26.6), (4.0, 1.0, 8.38), (4.0, 2.0, 3.34),
    (5.0, 0.0, 465.0), (5.0, 0.5, 38.0), (5.0, 1.0, 10.4), (5.0, 2.0, 4.01),
]  # fmt: skip


@pytest.mark.parametrize(("limit", "shift", "published"), PUBLISHED_K_HALF)
def test_run_lengths_are_the_published_ones(limit: float, shift: float, published: float) -> None:
    up, down = run_length(shift - 0.5, limit), run_length(-shift - 0.5, limit)
    assert 1 / (1 / up + 1 / down) == pytest.approx(published, rel=0.04)


@pytest.mark.parametrize(("shift", "limit"), [(0.0, 4.0), (1.0, 4.0), (0.5, 5.0)])
def test_run_lengths_are_those_of_sums_that_are_really_run(shift: float, limit: float) -> None:
    rng = np.random.default_rng(7)
    runs = []
    for _ in range(2000):
        total, steps = 0.0, 0
        while total < limit:
            total, steps = max(0.0, total + rng.normal(shift - 0.5)), steps + 1
        runs.append(steps)
    assert np.mean(runs) == pytest.approx(run_length(shift - 0.5, limit), rel=0.08)


@pytest.mark.parametrize("shift", [0.5, 1.0, 2.0])
def test_the_limit_gives_the_false_alarms_asked_for(shift: float) -> None:
    assert run_length(-shift / 2, limit_for(365.25, shift)) == pytest.approx(365.25, rel=1e-6)


@pytest.mark.parametrize("shift", [0.3, 0.5, 1.0])
def test_for_rare_false_alarms_the_delay_nears_the_bound_of_lorden(shift: float) -> None:
    # Lorden 1971: ln(run length to a false alarm) over the information a step, shift² / 2; a limit in the
    # run length, so it is tried where that is a very long one.
    steps = 1e12
    bound = np.log(steps) / (shift**2 / 2)
    assert run_length(shift / 2, limit_for(steps, shift)) == pytest.approx(bound, rel=0.2)


def test_no_delay_is_shorter_than_one_look() -> None:
    assert delay_days(30.0) == 1.0


@pytest.mark.parametrize("shift", [0.5, 1.0, 2.0])
def test_looking_more_often_knows_no_more_of_a_small_shift(shift: float) -> None:
    # In Siegmund's approximation the sum is a Brownian motion, which knows no steps of time.
    assert delay_days(shift, looks_a_day=4) == pytest.approx(delay_days(shift))


def test_looking_more_often_sees_a_large_shift_within_the_day() -> None:
    assert delay_days(8.0, looks_a_day=4) < 0.5 * delay_days(8.0)


def test_no_delay_is_shorter_than_one_look_of_six_hours() -> None:
    assert delay_days(100.0, looks_a_day=4) == 0.25
