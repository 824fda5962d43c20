"""What is compared is a time in which nothing else was done to the pump."""

from __future__ import annotations

import pytest

from api.analytics.facts import ServiceEvent
from api.analytics.repair.stretch import LONGEST_DAYS, stretch_of

DAY = 86_400_000
HOUR = 3_600_000
AT = 100 * DAY


def done(kind: str = "vented", at: int = AT) -> ServiceEvent:
    return ServiceEvent(time_utc_ms=at, kind=kind)


def test_work_alone_is_compared_over_four_weeks_on_either_side() -> None:
    stretch = stretch_of(done(), [done()], AT + 90 * DAY)
    assert (stretch.first_utc_ms, stretch.begun_utc_ms) == (AT - 28 * DAY, AT)
    assert (stretch.done_utc_ms, stretch.end_utc_ms) == (AT, AT + 28 * DAY)
    assert stretch.is_over


def test_it_is_not_over_while_readings_still_come() -> None:
    stretch = stretch_of(done(), [done()], AT + 3 * DAY)
    assert stretch.end_utc_ms == AT + 3 * DAY
    assert not stretch.is_over


def test_other_work_ends_the_comparison_on_its_side() -> None:
    works = [done(at=AT - 5 * DAY), done(), done("ring_replaced", AT + 6 * DAY)]
    stretch = stretch_of(works[1], works, AT + 90 * DAY)
    assert (stretch.first_utc_ms, stretch.end_utc_ms) == (AT - 5 * DAY, AT + 6 * DAY)
    assert stretch.is_over


@pytest.mark.parametrize("kind", ["greased", "aligned", "seal_inspected", "turned_by_hand", "other_upkeep"])
def test_work_that_shows_in_nothing_ends_no_comparison(kind: str) -> None:
    works = [done(), done(kind, AT + 6 * DAY)]
    assert stretch_of(works[0], works, AT + 90 * DAY).end_utc_ms == AT + LONGEST_DAYS * DAY


def test_works_of_one_visit_are_compared_as_one() -> None:
    works = [done(), done("strainer_cleaned", AT + 2 * HOUR), done("valve_set", AT + 30 * HOUR)]
    for work in works[:2]:
        stretch = stretch_of(work, works, AT + 90 * DAY)
        assert (stretch.begun_utc_ms, stretch.done_utc_ms) == (AT, AT + 2 * HOUR)
        assert stretch.end_utc_ms == AT + 30 * HOUR
