"""Repeated starts: counted right, told apart, silent on a schedule."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding, Kind, Priority
from api.analytics.states.starts import repeated_starts, start_times_utc_ms
from api.analytics.states.starts_table import published_starts_per_hour, starts_limit_per_hour
from api.analytics.states.track import track_of
from tests.api.analytics.states.hand_made import FACTS, between, readings, stopped

HP_W = 745.6998716


def cycling(
    starts_an_hour: float, hours: float = 3.0, interval_s: float = 10.0, jitter_s: tuple[float, ...] = (0.0,)
) -> pd.DataFrame:
    """Return a pump that rests for a quarter of each cycle."""
    frame, cycle_s = readings(hours, interval_s), 3600 / starts_an_hour
    begin, turn = 600.0, 0
    while begin < hours * 3600:
        frame = stopped(frame, between(frame, begin, begin + cycle_s / 4))
        begin += cycle_s + jitter_s[turn % len(jitter_s)]
        turn += 1
    return frame


def found(frame: pd.DataFrame, facts: PumpFacts = FACTS, habit: float | None = None) -> list[Finding]:
    return repeated_starts(track_of(frame, facts), facts, habit)


@pytest.mark.parametrize(
    ("horsepower", "rpm", "starts"),
    [(1, 2900, 15.0), (1, 1450, 30.0), (25, 1760, 8.8), (50, 3550, 3.4), (75, 1180, 6.6), (250, 1180, 4.2)],
)
def test_the_published_table_is_read_as_printed(horsepower: float, rpm: float, starts: float) -> None:
    """NEMA MG 10, Table 2-3, column A, as quoted by two independent documents."""
    assert published_starts_per_hour(horsepower * HP_W, rpm) == starts


def test_between_two_sizes_the_larger_ones_limit_holds() -> None:
    """The same table: 20 hp 9.6, 25 hp 8.8 with four poles."""
    assert published_starts_per_hour(22 * HP_W, 1760) == 8.8


def test_the_published_table_is_the_limit_where_none_is_stated() -> None:
    small, large = replace(FACTS, rated_power_w=HP_W), replace(FACTS, rated_power_w=100 * HP_W)
    assert starts_limit_per_hour(small) == 15.0
    assert starts_limit_per_hour(large) == 2.6


def test_six_starts_are_the_limit_of_a_motor_of_unknown_size() -> None:
    """Common practice."""
    assert starts_limit_per_hour(replace(FACTS, rated_power_w=None)) == 6.0


def test_a_stated_limit_goes_before_all_others() -> None:
    assert starts_limit_per_hour(replace(FACTS, starts_per_hour_limit=12.0)) == 12.0


@pytest.mark.parametrize(("starts_an_hour", "expected"), [(8.5, 0), (12.0, 1)])
@pytest.mark.parametrize("interval_s", [1.0, 10.0, 60.0])
def test_only_more_starts_than_the_limit_are_a_finding(
    starts_an_hour: float, expected: int, interval_s: float
) -> None:
    """The table's 9.9 starts for 3 hp with two poles, the size next to this motor's 2.01 hp."""
    assert len(found(cycling(starts_an_hour, interval_s=interval_s))) == expected


def test_exactly_the_stated_limit_is_allowed() -> None:
    assert found(cycling(8.0), replace(FACTS, starts_per_hour_limit=8.0)) == []
    assert len(found(cycling(8.0), replace(FACTS, starts_per_hour_limit=7.0))) == 1


def test_the_effect_is_the_most_starts_within_an_hour() -> None:
    (one,) = found(cycling(12.0))
    assert (one.kind, one.effect, one.effect_unit) == (Kind.REPEATED_STARTS, 12.0, "1/h")


def test_starts_within_the_limit_but_against_habit_can_wait() -> None:
    (one,) = found(cycling(5.5), habit=1.0)
    assert one.priority is Priority.PLANNED


def test_more_than_the_habit_once_a_day_may_be_chance_or_a_person() -> None:
    once = cycling(5.5, hours=30.0)
    assert found(stopped(once, between(once, 4200, 1e9)), habit=3.0) == []


def test_more_than_the_habit_twice_a_day_is_a_finding() -> None:
    twice = cycling(5.5, hours=30.0)
    rest = between(twice, 4200, 20 * 3600) | between(twice, 21.2 * 3600, 28 * 3600)
    assert len(found(stopped(twice, rest), habit=3.0)) == 1


def test_beside_the_starts_stand_the_limit_and_the_habit() -> None:
    (one,) = found(cycling(5.5), habit=3.4)
    said = {item.name: item.value for item in one.evidence}
    assert (said["starts_limit_per_hour"], said["starts_habit_per_hour"]) == (9.9, 3.4)


def test_a_habit_of_many_starts_is_no_news() -> None:
    assert found(cycling(5.5), habit=6.0) == []


def test_a_schedule_of_a_few_starts_a_day_is_silent() -> None:
    frame = readings(48, 60.0)
    for hour in range(0, 48, 6):
        frame = stopped(frame, between(frame, hour * 3600, hour * 3600 + 7200))
    assert found(frame, habit=1.0) == []


def test_the_drives_counter_sees_starts_between_readings() -> None:
    frame = readings(3, 300.0)
    frame["starts"] = [100.0 + count for count in range(len(frame))]
    (one,) = found(frame)
    assert one.effect == 12.0


def test_a_counter_set_back_is_no_start() -> None:
    frame = readings(3, 60.0)
    frame["starts"] = 100.0
    frame.loc[between(frame, 3600, 1e9), "starts"] = 0.0
    assert len(start_times_utc_ms(track_of(frame, FACTS))) == 0


def test_a_gap_is_no_start() -> None:
    frame = readings(3, 60.0)
    frame = stopped(frame, between(frame, 3600, 3660))
    assert len(start_times_utc_ms(track_of(frame[~between(frame, 3660, 4300)], FACTS))) == 0


def test_a_stop_with_a_fault_code_is_a_trip() -> None:
    frame = cycling(12.0)
    frame["fault_code"] = (frame["speed_rpm"] == 0) * 41.0
    assert found(frame)[0].causes[0].names == ("trip_and_restart",)


def test_a_regular_cycle_without_a_fault_is_the_control() -> None:
    assert found(cycling(12.0))[0].causes[0].names == ("short_cycling_control",)


def test_an_irregular_cycle_without_a_fault_leaves_both() -> None:
    frame = cycling(12.0, jitter_s=(-150.0, 100.0, -100.0, 150.0))
    assert found(frame)[0].causes[0].names == ("trip_and_restart", "short_cycling_control")


UNKNOWN_SIZE = replace(FACTS, rated_power_w=None)


def calls_at_random(per_hour: float, days: int, seed: int) -> pd.DataFrame:
    """Return a pump that is called at random (a Poisson process) and runs for two minutes each time."""
    frame = readings(24.0 * days, 30.0)
    random = np.random.default_rng(seed)
    calls_s = np.cumsum(random.exponential(3600 / per_hour, int(per_hour * 24 * days)))
    since = np.arange(len(frame)) * 30.0
    last = np.searchsorted(calls_s, since, side="right") - 1
    rests = (last < 0) | (since - calls_s[np.maximum(last, 0)] > 120.0)
    return stopped(frame, rests)


@pytest.mark.parametrize(("per_hour", "habit"), [(2.0, 8.9), (4.0, 11.9), (6.0, 14.1)])
def test_calls_at_random_as_ever_are_no_fault_of_a_pump_of_unknown_size(
    per_hour: float, habit: float
) -> None:
    """The habits are what ``starts_habit`` tells of two such weeks; six an hour come by chance every day."""
    assert found(calls_at_random(per_hour, 20, seed=1), UNKNOWN_SIZE, habit) == []


def test_such_a_pump_that_starts_more_than_it_is_used_to_is_still_told_of() -> None:
    assert len(found(cycling(12, hours=5.0), UNKNOWN_SIZE, habit=8.9)) == 1
    assert len(found(cycling(8, hours=5.0), UNKNOWN_SIZE, habit=3.0)) == 1


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("per_hour", [2.0, 3.0, 4.0, 5.0, 6.0])
def test_calls_at_random_are_silent_before_the_habit_is_known_too(per_hour: float, seed: int) -> None:
    assert found(calls_at_random(per_hour, 20, seed), UNKNOWN_SIZE) == []


def test_before_the_habit_is_known_more_than_chance_makes_is_told_for_information() -> None:
    (one,) = found(cycling(24, hours=5.0), UNKNOWN_SIZE)
    assert one.priority is Priority.INFORMATION
    assert found(cycling(12, hours=5.0), UNKNOWN_SIZE) == []


def test_no_habit_is_named_where_none_is_known() -> None:
    (one,) = found(cycling(12.0))
    assert "starts_habit_per_hour" not in {item.name for item in one.evidence}


def test_a_limit_of_two_starts_counts_the_third() -> None:
    two = replace(UNKNOWN_SIZE, starts_per_hour_limit=2.0)
    assert len(found(cycling(3.0), two)) == 1
    assert found(cycling(2.0), two) == []


def test_one_start_repeats_nothing_however_low_the_limit() -> None:
    assert found(cycling(0.4, hours=6.0), replace(FACTS, starts_per_hour_limit=0.2)) == []


def test_the_published_limit_of_a_large_motor_counts_the_third_start() -> None:
    """NEMA MG 10, Table 2-3: 2.6 an hour for 100 hp with two poles."""
    assert len(found(cycling(3.0), replace(FACTS, rated_power_w=100 * HP_W))) == 1


def test_a_limit_that_a_person_stated_holds_whatever_the_habit() -> None:
    stated = replace(UNKNOWN_SIZE, starts_per_hour_limit=6.0)
    assert len(found(cycling(8), stated, habit=14.0)) == 1
