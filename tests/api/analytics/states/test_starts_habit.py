"""The habit of starts: what chance explains is none of anybody's business, what it does not is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest

from api.analytics.states.starts_habit import crossings_per_hour, most_by_chance, starts_habit

HOUR_MS = 3_600_000
HOURS = 28 * 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    first_hour_utc_ms: int = 0
    last_hour_utc_ms: int = (HOURS - 1) * HOUR_MS


def hours_with(starts: np.ndarray, seen_s: float = 3600.0) -> pd.DataFrame:
    index = pd.Index(np.arange(len(starts), dtype=np.int64) * HOUR_MS, name="hour_utc_ms")
    return pd.DataFrame({"starts": starts.astype(float), "seconds_seen": seen_s}, index=index)


def most_in_a_sliding_hour(times_h: np.ndarray) -> int:
    counts = np.arange(1, len(times_h) + 1) - np.searchsorted(times_h, times_h - 1.0, side="right")
    return int(counts.max(initial=0))


@pytest.mark.parametrize("per_hour", [0.2, 1.0, 2.0, 3.0])
def test_a_year_of_calls_at_random_hardly_leaves_the_habit(per_hour: float) -> None:
    random = np.random.default_rng(4)
    habit = starts_habit(hours_with(random.poisson(per_hour, HOURS)), Learned())
    assert habit is not None
    days = [np.sort(random.uniform(0, 24, random.poisson(24 * per_hour))) for _ in range(365)]
    assert sum(most_in_a_sliding_hour(times) > habit for times in days) <= 3


@pytest.mark.parametrize(("per_hour", "count"), [(1.0, 3), (2.0, 5), (3.0, 6)])
def test_crossings_are_as_many_as_a_drawn_process_has(per_hour: float, count: int) -> None:
    """Against a simulation: Alm's rate (from memory) is an approximation, good to a fifth here."""
    random, hours = np.random.default_rng(5), 40_000.0
    times = np.sort(random.uniform(0, hours, random.poisson(per_hour * hours)))
    inside = np.arange(1, len(times) + 1) - np.searchsorted(times, times - 1.0, side="right")
    over = inside > count
    begins = np.flatnonzero(over & ~np.roll(over, 1))
    apart = 1 + np.count_nonzero(np.diff(times[begins]) > 1.0)
    assert crossings_per_hour(per_hour, count) * hours == pytest.approx(apart, rel=0.2)


@pytest.mark.parametrize("an_hour", [2, 6])
def test_a_pump_that_cycles_by_a_clock_is_held_to_little_more(an_hour: int) -> None:
    habit = starts_habit(hours_with(np.full(HOURS, an_hour)), Learned())
    assert habit is not None
    assert an_hour <= habit <= 1.75 * an_hour


def test_a_schedule_of_one_start_a_day_is_a_habit_of_few() -> None:
    habit = starts_habit(hours_with(np.arange(HOURS) % 24 == 6), Learned())
    assert habit is not None
    assert 1 <= habit <= 3


def test_the_habit_is_no_less_than_what_was_seen() -> None:
    starts = np.zeros(HOURS)
    starts[400] = 8
    assert (starts_habit(hours_with(starts), Learned()) or 0) >= 8


def test_hours_with_gaps_and_hours_not_learned_from_tell_nothing() -> None:
    busy = hours_with(np.full(HOURS, 9))
    busy["seconds_seen"] = 1800.0
    assert starts_habit(busy, Learned()) is None
    assert starts_habit(hours_with(np.full(HOURS, 9)), Learned(first_hour_utc_ms=HOURS * HOUR_MS)) is None
    assert starts_habit(hours_with(np.full(HOURS, 9)), None) is None


def test_nothing_by_chance_comes_to_nothing() -> None:
    assert most_by_chance(0.0) == 0
