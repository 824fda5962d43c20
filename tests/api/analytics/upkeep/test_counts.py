"""Run hours are counted by the drive's counter where it was read, else by readings; the rest is said."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from api.analytics.upkeep.counts import counts_since

HOUR_MS = 3_600_000
START = 1_790_002_800_000
"""A whole hour."""


def rows(
    running: Mapping[int, float],
    first: Mapping[int, float] | None = None,
    rise: Mapping[int, float] | None = None,
) -> pd.DataFrame:
    """Return hour rows by hours after ``START``: the share of each run, and where the counter stood."""
    frame = pd.DataFrame(index=pd.Index([START + hour * HOUR_MS for hour in running], dtype="int64"))
    frame["seconds_seen"] = 3600.0
    frame["seconds_running"] = [3600.0 * share for share in running.values()]
    if first is not None:
        rises = {hour: (rise or {}).get(hour, running[hour]) for hour in running}
        frame["run_time_h_first"] = [first.get(hour) for hour in running]
        frame["run_time_h_rise"] = [rises[hour] for hour in running]
        frame["run_time_h_last"] = frame["run_time_h_first"] + frame["run_time_h_rise"]
        frame["run_time_h_falls"] = 0.0
    return frame.astype(float)


def at(hour: float) -> int:
    return START + round(hour * HOUR_MS)


def steady(
    hours: range, counter_from: float, share: float = 1.0
) -> tuple[dict[int, float], dict[int, float]]:
    """Return a pump that runs for a share of each hour, and its counter's value at each beginning."""
    running = dict.fromkeys(hours, share)
    return running, {hour: counter_from + place * share for place, hour in enumerate(hours)}


def test_without_a_counter_the_readings_count() -> None:
    found = counts_since(rows(dict.fromkeys(range(100), 0.5)), at(0), at(100))
    assert found.run_h == pytest.approx(50.0)
    assert found.unseen_h == 0.0


def test_rows_of_an_older_layout_know_no_counter() -> None:
    assert counts_since(rows({0: 1.0, 1: 1.0}), at(0), at(2)).run_h == pytest.approx(2.0)


def test_the_counter_counts_what_nobody_read() -> None:
    running, first = steady(range(20), 1000.0)
    later, first_later = steady(range(60, 80), 1060.0)
    found = counts_since(rows(running | later, first | first_later), at(0), at(80))
    assert found.run_h == pytest.approx(80.0)
    assert found.unseen_h == 0.0


def test_without_a_counter_a_gap_is_said_and_not_filled() -> None:
    running, _ = steady(range(20), 0.0)
    later, _ = steady(range(60, 80), 0.0)
    found = counts_since(rows(running | later), at(0), at(80))
    assert found.run_h == pytest.approx(40.0)
    assert found.unseen_h == pytest.approx(40.0)


def test_only_what_ran_since_is_counted() -> None:
    running, first = steady(range(100), 500.0)
    assert counts_since(rows(running, first), at(70), at(100)).run_h == pytest.approx(30.0)


def test_counting_begins_with_the_next_whole_hour() -> None:
    running, first = steady(range(100), 500.0)
    frame = rows(running, first)
    assert counts_since(frame, at(69.01), at(100)).run_h == pytest.approx(30.0)
    assert counts_since(frame, at(70.01), at(100)).run_h == pytest.approx(29.0)


def test_work_of_this_hour_leaves_nothing_counted_yet() -> None:
    running, first = steady(range(10), 500.0)
    assert counts_since(rows(running, first), at(9.7), at(9.9)).run_h == 0.0


def test_a_counter_set_back_goes_on_from_zero() -> None:
    running, first = steady(range(50), 900.0)
    later, first_later = steady(range(50, 100), 0.0)
    assert counts_since(rows(running | later, first | first_later), at(0), at(100)).run_h == pytest.approx(
        100.0
    )


def test_a_replaced_drives_counter_adds_nothing_that_nobody_saw() -> None:
    running, first = steady(range(50), 900.0)
    later, first_later = steady(range(74, 100), 31_337.0)
    found = counts_since(rows(running | later, first | first_later), at(0), at(100))
    # 50 h before, 26 h after; of the 24 h in which the drive was changed nothing is known.
    assert found.run_h == pytest.approx(76.0)
    assert found.unseen_h == pytest.approx(24.0)


def test_a_counter_that_rolls_over_in_a_gap_goes_on() -> None:
    running, first = steady(range(50), 65_470.0)
    later, first_later = steady(range(76, 126), 10.0)
    found = counts_since(rows(running | later, first | first_later), at(0), at(126))
    # From 65,520 over the 65,536 of a 16-bit register to 10: 26 h, as long as the gap.
    assert found.run_h == pytest.approx(126.0)
    assert found.unseen_h == 0.0


def test_a_counter_of_minutes_is_not_believed() -> None:
    running, _ = steady(range(50), 0.0, share=0.5)
    first = {hour: 60.0 * hour for hour in running}
    found = counts_since(rows(running, first, dict.fromkeys(running, 30.0)), at(0), at(50))
    assert found.run_h == pytest.approx(25.0)


def test_a_counter_that_stands_while_the_pump_runs_does_not_hide_it() -> None:
    running, _ = steady(range(50), 0.0)
    first = dict.fromkeys(running, 42.0)
    found = counts_since(rows(running, first, dict.fromkeys(running, 0.0)), at(0), at(50))
    assert found.run_h == pytest.approx(50.0)


def test_before_the_counter_was_read_the_readings_count() -> None:
    running, first = steady(range(100), 500.0)
    only_late = {hour: value for hour, value in first.items() if hour >= 60}
    frame = rows(running, only_late)
    assert counts_since(frame, at(0), at(100)).run_h == pytest.approx(100.0)


def test_work_before_the_first_reading_has_time_that_nobody_saw() -> None:
    running, first = steady(range(100), 500.0)
    found = counts_since(rows(running, first), at(-240), at(100))
    assert found.run_h == pytest.approx(100.0)
    assert found.unseen_h == pytest.approx(240.0)


def test_without_a_reading_nothing_is_counted() -> None:
    found = counts_since(rows({}), at(0), at(10))
    assert (found.run_h, found.last_ran_utc_ms) == (None, None)


@pytest.mark.parametrize(
    ("day", "hours_of_two_days"), [("2026-03-28", 47), ("2026-10-24", 49), ("2026-06-01", 48)]
)
def test_a_clock_change_neither_adds_nor_loses_an_hour(day: str, hours_of_two_days: int) -> None:
    begin = datetime.fromisoformat(day).replace(tzinfo=ZoneInfo("Europe/Lisbon"))
    since, until = (int(when.timestamp() * 1000) for when in (begin, begin + timedelta(days=2)))
    frame = rows(dict.fromkeys(range(200), 1.0))
    frame.index = pd.Index([since + place * HOUR_MS for place in range(200)], dtype="int64")
    assert counts_since(frame, since, until).run_h == pytest.approx(hours_of_two_days)


def test_the_pace_is_that_of_the_last_four_weeks() -> None:
    before, _ = steady(range(0, 672), 0.0, share=1.0)
    after, _ = steady(range(672, 1344), 0.0, share=0.25)
    found = counts_since(rows(before | after), at(0), at(1344))
    assert found.run_h_a_day == pytest.approx(6.0)


def test_the_pace_is_of_the_time_that_is_known() -> None:
    running, _ = steady(range(1344 - 336, 1344), 0.0, share=0.5)
    assert counts_since(rows(running), at(1344 - 336), at(1344)).run_h_a_day == pytest.approx(12.0)


@pytest.mark.parametrize(("hours", "is_told"), [(71, False), (72, True)])
def test_three_days_are_needed_to_tell_a_pace(hours: int, is_told: bool) -> None:
    running, _ = steady(range(hours), 0.0)
    assert (counts_since(rows(running), at(0), at(hours)).run_h_a_day is not None) is is_told


def test_a_pump_that_stands_is_told_by_when_it_last_ran() -> None:
    running = dict.fromkeys(range(10), 1.0) | dict.fromkeys(range(10, 400), 0.0)
    assert counts_since(rows(running), at(0), at(400)).last_ran_utc_ms == at(10)


def test_a_pump_that_never_ran_is_known_to_have_stood() -> None:
    found = counts_since(rows(dict.fromkeys(range(400), 0.0)), at(0), at(400))
    assert (found.run_h, found.last_ran_utc_ms) == (0.0, None)


def test_a_run_that_nobody_saw_is_told_by_the_counter() -> None:
    running, first = steady(range(10), 100.0, share=0.0)
    later, first_later = steady(range(200, 300), 103.0, share=0.0)
    found = counts_since(rows(running | later, first | first_later), at(0), at(300))
    assert found.last_ran_utc_ms == at(200)


def test_a_pump_that_runs_ran_until_now_and_no_later() -> None:
    running, first = steady(range(10), 100.0)
    assert counts_since(rows(running, first), at(0), at(9.5)).last_ran_utc_ms == at(9.5)
