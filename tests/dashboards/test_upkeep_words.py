"""A task's line says how far it is, since when, until when, and what nobody knows."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest

from api.analytics.upkeep.done import DONE_BY
from collector.site.upkeep import UpkeepKind
from dashboards.pages.upkeep_rows import cautions_of
from dashboards.upkeep_views import Grease, UpkeepRow
from dashboards.wording import cautions
from dashboards.wording import upkeep as words
from dashboards.wording.terms import SERVICES

DAY_MS = 86_400_000
NOW = 1_793_000_000_000
"""26 October 2026, UTC."""
GREASING = UpkeepRow(
    pump="P01",
    kind="greasing",
    state="not_yet",
    record_as="greased",
    by="run_h",
    used=0.5,
    every_run_h=4000.0,
    every_days=365.0,
    run_h=2000.0,
    since_utc_ms=NOW - 100 * DAY_MS,
)
KINDS = get_args(UpkeepKind)


def line(**other: object) -> str:
    row = replace(GREASING, **other)  # type: ignore[arg-type]
    return words.upkeep_line(row, "UTC", NOW).replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_task_has_work_that_does_it_and_cautions(kind: str) -> None:
    assert set(DONE_BY[kind]) <= set(SERVICES)
    assert cautions_of([replace(GREASING, kind=kind)]) != []


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "other"])
def test_every_kind_but_other_has_words(kind: str) -> None:
    assert words.TASKS[kind]
    assert words.HOW[kind]


def test_every_caution_that_is_named_is_worded() -> None:
    assert {code for codes in words.CAUTIONS.values() for code in codes} <= set(cautions.CAUTIONS)


@pytest.mark.parametrize("kind", ["coupling_check", "turning_by_hand", "alignment", "strainer", "filter"])
def test_hands_at_the_shaft_or_in_the_casing_wait_for_the_lock_and_mind_the_automatic_start(
    kind: str,
) -> None:
    assert {"lock_out", "automatic_restart"} <= set(words.CAUTIONS[kind])


def test_a_pump_that_stands_may_start_while_its_shaft_is_turned() -> None:
    assert cautions_of([replace(GREASING, kind="turning_by_hand")])[:1] == ["lock_out"]
    assert "A pump that stands still is not a pump that is off" in cautions.CAUTIONS["automatic_restart"]


@pytest.mark.parametrize(("run_h", "told"), [(1999.9, "1,999"), (2000.0, "2,000"), (2000.4, "2,000")])
def test_an_hour_counts_once_it_is_full(run_h: float, told: str) -> None:
    assert line(run_h=run_h).startswith(f"{told} of 4,000 run hours")


def test_days_are_told_where_they_run_out_first() -> None:
    assert line(by="days", used=100 / 365).startswith("100 of 365 days")


def test_standing_still_is_told_as_that() -> None:
    standing = line(by="standing", used=13.96 / 14, standing_days=14.0)
    assert standing.startswith("stood still for 13 of 14 days")


def test_the_record_it_counts_from_is_named() -> None:
    told = line(done_utc_ms=NOW - 100 * DAY_MS, done_by_work="bearing_replaced")
    assert "last bearing replaced 18 July" in told


def test_without_a_record_the_first_reading_is_named() -> None:
    assert "never recorded; counted from the first reading, 18 July" in line()


def test_a_date_to_come_is_about_and_one_that_was_is_since() -> None:
    assert "due about 15 November" in line(about_utc_ms=NOW + 20 * DAY_MS)
    assert "due since 6 October" in line(state="due", about_utc_ms=NOW - 20 * DAY_MS)


@pytest.mark.parametrize(("unseen_h", "is_said"), [(23.9, False), (24.0, True)])
def test_a_day_that_nobody_saw_is_said(unseen_h: float, is_said: bool) -> None:
    assert ("nobody knows whether it ran" in line(unseen_h=unseen_h)) is is_said


def test_what_nobody_saw_does_not_matter_to_the_calendar() -> None:
    assert "nobody knows" not in line(every_run_h=None, unseen_h=100.0)


def test_grease_is_told_for_each_bearing() -> None:
    told = line(grease=(Grease(grams=7.2, place="drive end"), Grease(grams=14.85)))
    assert told.endswith("about 7.2 g (drive end) and about 14.8 g")


def test_nothing_counted_is_said() -> None:
    assert line(used=None, since_utc_ms=None, run_h=None) == (
        "nothing was counted yet; never recorded, and there are no readings"
    )
