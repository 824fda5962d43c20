"""A rise is told with its place, and steady lines are left in peace."""

from __future__ import annotations

import random

import pytest

from api.answers.line_changes import LEAST_TRIALS, rise

WEEK = 7 * 96
NOTABLE = 0.01


def drawn(share_by_quarter: list[float], requests: int, seed: int) -> list[int]:
    random_numbers = random.Random(seed)
    return [sum(random_numbers.random() < share for _ in range(requests)) for share in share_by_quarter]


def test_a_rise_is_found_where_it_began() -> None:
    found = rise(drawn([0.001] * 50 + [0.05] * 30, 90, seed=1), [90] * 80, NOTABLE)
    assert found is not None
    assert abs(found.place - 50) <= 1
    assert found.before < 0.005 < 0.03 < found.after < 0.07


@pytest.mark.parametrize("share", [0.0, 0.002, 0.02, 0.2])
def test_steady_lines_are_left_in_peace(share: float) -> None:
    # Of 100 weeks each; the shares of a sound line, a poor one and a bad one.
    told = [rise(drawn([share] * WEEK, 30, seed), [30] * WEEK, NOTABLE) for seed in range(100)]
    assert [each for each in told if each is not None] == []


def test_a_rise_that_has_gone_away_is_not_told() -> None:
    shares = [0.0] * 40 + [0.1] * 20 + [0.0] * 20
    assert rise(drawn(shares, 90, seed=2), [90] * 80, NOTABLE) is None


def test_what_got_better_is_no_rise() -> None:
    assert rise([9] * 20 + [0] * 20, [90] * 40, NOTABLE) is None


def test_a_rise_below_the_share_that_counts_is_not_told() -> None:
    hits, trials = [0] * 50 + [9] * 50, [1000] * 100
    assert rise(hits, trials, 0.008) is not None
    assert rise(hits, trials, 0.01) is None


def test_less_than_twice_as_much_is_not_told() -> None:
    assert rise([100] * 50 + [190] * 50, [1000] * 100, NOTABLE) is None
    assert rise([100] * 50 + [210] * 50, [1000] * 100, NOTABLE) is not None


def test_too_few_requests_on_one_side_tell_nothing() -> None:
    few = LEAST_TRIALS - 1
    assert rise([0, few], [5000, few], NOTABLE) is None
    assert rise([0, few + 1], [5000, few + 1], NOTABLE) is not None


def test_nothing_counted_is_nothing_told() -> None:
    assert rise([], [], NOTABLE) is None
    assert rise([0, 0], [0, 0], NOTABLE) is None
