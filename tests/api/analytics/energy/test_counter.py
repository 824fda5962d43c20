"""The drive's own counter: it knows of gaps, and is believed across a fall only where that can be right."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from api.analytics.energy.counter import Counted, Fall, counted, reconciled
from api.analytics.facts import PumpFacts
from api.analytics.hours import hour_rows
from api.analytics.spans import HOUR_MS

Frame = Callable[..., pd.DataFrame]
FACTS = PumpFacts(pump="P01", interval_s=600)
MONDAY = 1_767_571_200_000
STEP_MS = 600_000
MOST_KW = 1.5
STEPS = 2.1 / 6
"""Two readings ten minutes apart at 1 kW: the one across the fall, and the one across the end."""


def hours(make_frame: Frame, counter: Callable[[np.ndarray], np.ndarray], days: float = 3.0) -> pd.DataFrame:
    """Hour rows of a pump that draws 1 kW all the time, so that a true counter rises by 1 an hour."""
    times = MONDAY + np.arange(0, round(days * 86_400_000) + 1, STEP_MS)
    since_h = (times - MONDAY) / HOUR_MS
    energy = counter(since_h)
    return hour_rows(make_frame(times, speed_rpm=2000.0, power_w=1000.0, energy_kwh=energy), FACTS)


def total(rows: pd.DataFrame, start_h: float = 0, end_h: float = 72) -> Counted:
    found = counted(
        rows, "energy_kwh", MONDAY + int(start_h * HOUR_MS), MONDAY + int(end_h * HOUR_MS), MOST_KW
    )
    assert found is not None
    return found


def without(rows: pd.DataFrame, first_h: int, last_h: int) -> pd.DataFrame:
    return rows[(rows.index < MONDAY + first_h * HOUR_MS) | (rows.index >= MONDAY + last_h * HOUR_MS)]


def test_a_counter_says_what_was_drawn(make_frame: Frame) -> None:
    found = total(hours(make_frame, lambda since: 500 + since))
    assert found.total == pytest.approx(72.0, abs=0.2)
    assert (found.across_gaps, found.falls) == (0.0, ())


def test_days_add_up_to_the_whole(make_frame: Frame) -> None:
    rows = hours(make_frame, lambda since: 500 + since)
    days = [total(rows, 24 * day, 24 * day + 24).total for day in range(3)]
    assert sum(days) == pytest.approx(total(rows).total, rel=1e-12)
    assert days == pytest.approx([24.0] * 3, abs=0.2)


def test_a_gap_is_known_to_the_counter(make_frame: Frame) -> None:
    rows = without(hours(make_frame, lambda since: 500 + since), 10, 30)
    found = total(rows)
    assert found.total == pytest.approx(72.0, abs=0.2)
    assert found.across_gaps == pytest.approx(20.0, abs=0.4)


def test_a_gap_across_the_border_is_shared_by_its_time(make_frame: Frame) -> None:
    rows = without(hours(make_frame, lambda since: 500 + since), 20, 30)
    before, after = total(rows, 0, 24), total(rows, 24, 72)
    assert before.total == pytest.approx(24.0, abs=0.3)
    assert before.across_gaps == pytest.approx(4.0, abs=0.2)
    assert after.across_gaps == pytest.approx(6.0, abs=0.2)
    assert before.total + after.total == pytest.approx(72.0, abs=0.2)


@pytest.mark.parametrize("top", [65_536.0, 6_553.6, 10**5, 42_949_672.96])
def test_a_full_counter_that_begins_again_loses_no_more_than_the_step_of_a_reading(
    make_frame: Frame, top: float
) -> None:
    found = total(hours(make_frame, lambda since: (top - 30.05 + since) % top))
    assert found.total == pytest.approx(72.0, abs=STEPS)
    assert [fall for _, fall in found.falls] == [Fall.ROLL_OVER]


def test_a_counter_set_back_counts_from_zero_and_is_said(make_frame: Frame) -> None:
    found = total(hours(make_frame, lambda since: np.where(since < 30, 4321 + since, since - 30)))
    assert found.total == pytest.approx(72.0, abs=STEPS)
    assert [fall for _, fall in found.falls] == [Fall.SET_BACK]
    assert found.falls[0][0] == MONDAY + 30 * HOUR_MS


def test_another_drives_counter_says_nothing_across_the_change(make_frame: Frame) -> None:
    found = total(hours(make_frame, lambda since: np.where(since < 30, 4321 + since, 900 + since)))
    assert found.total == pytest.approx(72.0, abs=STEPS)
    assert [fall for _, fall in found.falls] == [Fall.OTHER_DRIVE]


def test_another_drives_higher_counter_is_no_energy(make_frame: Frame) -> None:
    found = total(hours(make_frame, lambda since: np.where(since < 30, 100 + since, 9000 + since)))
    assert found.total < 73
    assert [fall for _, fall in found.falls] == [Fall.OTHER_DRIVE]


def test_a_fall_within_an_hour_is_said_and_never_negative(make_frame: Frame) -> None:
    found = total(hours(make_frame, lambda since: np.where(since < 30.5, 4321 + since, since - 30.5)))
    assert found.total == pytest.approx(72.0, abs=STEPS)
    assert [fall for _, fall in found.falls] == [Fall.SET_BACK]


def test_a_pump_without_a_counter_has_none(make_frame: Frame) -> None:
    rows = hours(make_frame, lambda since: np.full(len(since), np.nan))
    assert counted(rows, "energy_kwh", MONDAY, MONDAY + 72 * HOUR_MS, MOST_KW) is None
    assert reconciled(rows, MOST_KW) is None


def test_rows_kept_from_before_counters_were_kept_have_none(make_frame: Frame) -> None:
    rows = hours(make_frame, lambda since: 500 + since)
    old = rows.drop(
        columns=[name for name in rows.columns if name.startswith(("energy_kwh_", "run_time_h_"))]
    )
    assert counted(old, "energy_kwh", MONDAY, MONDAY + 72 * HOUR_MS, MOST_KW) is None
    assert reconciled(old, MOST_KW) is None


def test_outside_the_period_nothing_is_counted(make_frame: Frame) -> None:
    rows = hours(make_frame, lambda since: 500 + since)
    assert counted(rows, "energy_kwh", MONDAY + 100 * HOUR_MS, MONDAY + 124 * HOUR_MS, MOST_KW) is None


@pytest.mark.parametrize("reads", [0.95, 1.0, 1.03])
def test_the_counter_is_held_against_the_integral(make_frame: Frame, reads: float) -> None:
    found = reconciled(hours(make_frame, lambda since: 500 + since * reads), MOST_KW)
    assert found is not None
    assert found.hours == 72
    assert found.difference == pytest.approx(1 / reads - 1, abs=1e-6)
    assert found.is_within_resolution is (reads == 1.0)


def test_a_counter_of_whole_kilowatt_hours_agrees_within_its_step(make_frame: Frame) -> None:
    found = reconciled(hours(make_frame, lambda since: np.floor(500.3 + since)), MOST_KW)
    assert found is not None
    assert found.resolution_kwh == 1.0
    assert found.is_within_resolution


def test_hours_in_which_only_one_of_the_two_is_known_are_not_compared(make_frame: Frame) -> None:
    rows = without(hours(make_frame, lambda since: np.where(since < 50, 500 + since, np.nan)), 10, 20)
    found = reconciled(rows, MOST_KW)
    assert found is not None
    assert found.hours == 9 + 29
    assert found.difference == pytest.approx(0.0, abs=1e-6)


def test_a_counter_set_back_spoils_that_hour_alone(make_frame: Frame) -> None:
    found = reconciled(
        hours(make_frame, lambda since: np.where(since < 30.5, 4321 + since, since - 30.5)), MOST_KW
    )
    assert found is not None
    assert found.hours == 71
    assert found.difference == pytest.approx(0.0, abs=1e-6)


def test_run_hours_are_counted_the_same_way(make_frame: Frame) -> None:
    times = MONDAY + np.arange(0, 3 * 86_400_000 + 1, STEP_MS)
    frame = make_frame(times, speed_rpm=2000.0, run_time_h=800 + (times - MONDAY) / HOUR_MS / 2)
    found = counted(hour_rows(frame, FACTS), "run_time_h", MONDAY, MONDAY + 72 * HOUR_MS, 1.0)
    assert found is not None
    assert found.total == pytest.approx(36.0, abs=0.1)
