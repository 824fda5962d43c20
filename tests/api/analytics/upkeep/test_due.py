"""A task falls due by the interval that runs out first, and nothing is guessed."""

from __future__ import annotations

import pytest

from api.analytics.spans import DAY_MS
from api.analytics.upkeep import State, Task, due, grease_g
from api.analytics.upkeep.due import Counts

NOW = 1_790_000_000_000
GREASING = Task(name="greasing", every_run_h=2000.0, every_days=365.0)


def counts(**other: float | None) -> Counts:
    values: dict[str, float | None] = {"since_utc_ms": NOW - 100 * DAY_MS, "run_h": 500.0, "run_h_a_day": 5.0}
    return Counts(**(values | other))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("run_h", "state"),
    [
        (1799.0, State.NOT_YET),
        (1800.0, State.SOON),
        (1999.9, State.SOON),
        (2000.0, State.DUE),
        (9e4, State.DUE),
    ],
)
def test_run_hours_make_a_task_due(run_h: float, state: State) -> None:
    found = due(GREASING, counts(run_h=run_h), NOW)
    assert (found.state, found.by) == (state, "run_h")
    assert found.used == pytest.approx(run_h / 2000)


@pytest.mark.parametrize(
    ("days", "state"), [(328.0, State.NOT_YET), (329.0, State.SOON), (364.9, State.SOON), (365.0, State.DUE)]
)
def test_days_make_a_task_due_where_the_pump_hardly_runs(days: float, state: State) -> None:
    found = due(GREASING, counts(since_utc_ms=NOW - round(days * DAY_MS), run_h=10.0, run_h_a_day=0.1), NOW)
    assert (found.state, found.by) == (state, "days")


def test_the_date_comes_from_the_pace_of_the_last_weeks() -> None:
    found = due(Task(name="seal", every_run_h=2000.0), counts(run_h=1500.0, run_h_a_day=20.0), NOW)
    assert found.about_utc_ms == NOW + 25 * DAY_MS


def test_the_earlier_of_two_dates_is_told() -> None:
    found = due(GREASING, counts(run_h=1000.0, run_h_a_day=1.0), NOW)
    assert found.about_utc_ms == NOW + 265 * DAY_MS


def test_a_pump_that_stands_has_no_date_by_run_hours() -> None:
    found = due(Task(name="seal", every_run_h=2000.0), counts(run_h_a_day=0.0), NOW)
    assert (found.state, found.about_utc_ms) == (State.NOT_YET, None)


@pytest.mark.parametrize(("days", "state"), [(26.0, State.NOT_YET), (27.5, State.SOON), (30.0, State.DUE)])
def test_a_stand_by_pump_is_to_be_turned_before_it_seizes(days: float, state: State) -> None:
    turning = Task(name="turning_by_hand", standing_days=30.0)
    found = due(turning, counts(last_ran_utc_ms=NOW - round(days * DAY_MS)), NOW)
    assert (found.state, found.by) == (state, "standing")


def test_a_pump_that_ran_just_now_needs_no_turning() -> None:
    found = due(Task(name="turning_by_hand", standing_days=30.0), counts(last_ran_utc_ms=NOW), NOW)
    assert found.used == 0
    assert found.about_utc_ms == NOW + 30 * DAY_MS


def test_what_nobody_counted_is_unknown_and_not_fine() -> None:
    found = due(Task(name="seal", every_run_h=2000.0), counts(run_h=None, since_utc_ms=None), NOW)
    assert (found.state, found.used) == (State.UNKNOWN, None)


def test_hours_that_nobody_saw_are_said() -> None:
    assert due(GREASING, counts(unseen_h=70.0), NOW).unseen_h == 70.0


def test_a_task_without_an_interval_is_refused() -> None:
    with pytest.raises(ValueError, match="'seal' needs an interval"):
        Task(name="seal")


@pytest.mark.parametrize("interval", [{"every_run_h": 0.0}, {"every_days": -1.0}, {"standing_days": 0.0}])
def test_an_interval_that_is_none_is_refused(interval: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="above zero"):
        Task(name="seal", **interval)


@pytest.mark.parametrize(
    ("outside", "width", "grams"), [(80.0, 18.0, 7.2), (110.0, 27.0, 14.85), (47, 14, 3.29)]
)
def test_grease_by_the_trades_rule(outside: float, width: float, grams: float) -> None:
    # Common practice: 0.005 x D x B; by hand 0.005 * 80 * 18 = 7.2 g, and so on.
    assert grease_g(outside, width) == pytest.approx(grams)


@pytest.mark.parametrize(("outside", "width"), [(80.0, 0.0), (0.0, 0.0), (18.0, 80.0), (-80.0, 18.0)])
def test_a_bearing_that_cannot_be_is_refused(outside: float, width: float) -> None:
    with pytest.raises(ValueError, match="narrower than its diameter"):
        grease_g(outside, width)
