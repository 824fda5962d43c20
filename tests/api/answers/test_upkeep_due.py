"""What is due follows from the site file's tasks, the service log and the run hours, and nothing else."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from api.answers.service_log import record_work
from api.answers.source import Source, open_source
from api.answers.upkeep import plain_row, upkeep
from dashboards.upkeep_views import UpkeepRow

START_MS = 1_780_272_000_000
DAY_MS = 86_400_000
PUMP = "Lap pool 1"
"""Runs day and night from 2026-06-01 for forty days, and has no counter of its own."""

Opened = Callable[[str], Source]


@pytest.fixture
def with_tasks(analysed_folder: Path, tmp_path: Path, small_site: Any) -> Iterator[Opened]:  # noqa: ANN401
    """Return a function that opens the analysed site with these tasks in its file."""
    with ExitStack() as stack:

        def opened(tasks: str) -> Source:
            shutil.copytree(analysed_folder, tmp_path / "site")
            file = tmp_path / "site" / "site.toml"
            file.write_text(file.read_text(encoding="utf-8") + tasks, encoding="utf-8")
            source = open_source(file, small_site.clock_at_end())
            stack.callback(source.close)
            return source

        yield opened


def done(source: Source, what: str, day: float, note: str = "", pump: str = PUMP) -> None:
    at = f"2026-06-{1 + int(day):02}T{round(day % 1 * 24):02}:00Z"
    record_work(
        source, source.site.pump(pump), what=what, at=at, new_baseline=False, role="technician", note=note
    )


def only(source: Source, pump: str = PUMP) -> UpkeepRow:
    (row,) = upkeep(source, [source.site.pump(pump)])
    return row


def task(kind: str, **values: object) -> str:
    lines = [f"{key} = {value!r}".replace("'", '"') for key, value in values.items()]
    return "\n".join(["", "[[upkeep]]", f'kind = "{kind}"', *lines, ""])


def test_nothing_is_due_until_the_site_file_says_how_often(with_tasks: Opened) -> None:
    source = with_tasks("")
    assert upkeep(source, source.site.pumps) == ()


def test_without_a_record_it_is_counted_from_the_first_reading_and_that_is_said(with_tasks: Opened) -> None:
    row = only(with_tasks(task("greasing", every_run_h=2000)))
    assert (row.done_utc_ms, row.since_utc_ms) == (None, START_MS)
    assert row.run_h == pytest.approx(40 * 24, abs=1)


@pytest.mark.parametrize(
    ("interval_h", "state"), [(959, "due"), (961, "soon"), (1066, "soon"), (1068, "not_yet")]
)
def test_run_hours_decide_on_both_sides_of_each_limit(
    with_tasks: Opened, interval_h: int, state: str
) -> None:
    # 40 days of 24 h are 960 h; soon is within 10 %: 960 h of 1,066.7 h.
    row = only(with_tasks(task("greasing", every_run_h=interval_h)))
    assert row.state == state


def test_done_begins_the_count_anew(with_tasks: Opened) -> None:
    source = with_tasks(task("greasing", every_run_h=500))
    assert only(source).state == "due"
    done(source, "greased", day=25)
    row = only(source)
    assert (row.state, row.done_by_work) == ("not_yet", "greased")
    assert row.run_h == pytest.approx(15 * 24, abs=1)


def test_work_at_another_pump_does_nothing_here(with_tasks: Opened) -> None:
    source = with_tasks(task("greasing", every_run_h=500))
    done(source, "greased", day=25, pump="Hot tub")
    assert (only(source).state, only(source, "Hot tub").state) == ("due", "not_yet")


def test_other_work_does_not_do_it(with_tasks: Opened) -> None:
    source = with_tasks(task("greasing", every_run_h=500))
    done(source, "vented", day=25)
    assert only(source).state == "due"


@pytest.mark.parametrize(
    ("kind", "work"),
    [
        ("greasing", "bearing_replaced"),
        ("coupling_check", "aligned"),
        ("seal_inspection", "seal_replaced"),
        ("strainer", "strainer_cleaned"),
        ("filter", "filter_changed"),
        ("alignment", "aligned"),
    ],
)
def test_larger_work_does_the_smaller_task(with_tasks: Opened, kind: str, work: str) -> None:
    source = with_tasks(task(kind, every_days=30))
    assert only(source).state == "due"
    done(source, work, day=25)
    assert only(source).state == "not_yet"


def test_of_work_recorded_late_the_newest_counts(with_tasks: Opened) -> None:
    source = with_tasks(task("greasing", every_days=30))
    done(source, "greased", day=25)
    done(source, "greased", day=3)
    assert only(source).done_utc_ms == START_MS + 25 * DAY_MS


def test_other_upkeep_is_told_by_the_beginning_of_its_note(with_tasks: Opened) -> None:
    tasks = task("other", name="Listen at the bearings", every_days=30) + task(
        "other", name="Drip", every_days=30
    )
    source = with_tasks(tasks)
    done(source, "other_upkeep", day=25, note="listen at the bearings: quiet")
    states = {row.name: row.state for row in upkeep(source, [source.site.pump(PUMP)])}
    assert states == {"Listen at the bearings": "not_yet", "Drip": "due"}


def test_the_date_is_told_from_the_pace_of_the_last_weeks(with_tasks: Opened) -> None:
    row = only(with_tasks(task("greasing", every_run_h=1440)))
    assert row.about_utc_ms == pytest.approx(START_MS + 60 * DAY_MS, abs=DAY_MS / 4)


def test_a_pump_without_readings_is_unknown_and_not_fine(with_tasks: Opened) -> None:
    row = only(with_tasks(task("greasing", every_run_h=100)), "Fountain")
    assert (row.state, row.used) == ("unknown", None)


def test_a_pump_without_readings_is_due_by_days_once_work_was_recorded(with_tasks: Opened) -> None:
    source = with_tasks(task("greasing", every_run_h=100, every_days=10))
    done(source, "greased", day=20, pump="Fountain")
    row = only(source, "Fountain")
    assert (row.state, row.by, row.run_h) == ("due", "days", None)


def test_a_pump_that_runs_need_not_be_turned(with_tasks: Opened) -> None:
    row = only(with_tasks(task("turning_by_hand", standing_days=14)))
    assert row.state == "not_yet"
    assert row.used == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize(("day", "state"), [(25, "due"), (26, "soon"), (27, "soon"), (28, "not_yet")])
def test_turning_by_hand_counts_days_of_standing(with_tasks: Opened, day: int, state: str) -> None:
    # Forty days less 25.5 are above 14, less 26.5 within 10 % of it, less 27.9 not.
    source = with_tasks(task("turning_by_hand", pumps=["Fountain"], standing_days=14))
    done(source, "turned_by_hand", day=day + {25: 0.5, 26: 0.5, 27: 0.25, 28: 0.0}[day], pump="Fountain")
    assert only(source, "Fountain").state == state


def test_what_is_due_stands_first(with_tasks: Opened) -> None:
    tasks = "".join(
        task(kind, every_days=days)
        for kind, days in (("strainer", 400), ("filter", 42), ("alignment", 39), ("seal_inspection", 20))
    )
    source = with_tasks(tasks)
    rows = upkeep(source, [source.site.pump(PUMP), source.site.pump("Fountain")])
    assert [row.state for row in rows] == ["due", "due", "soon", *["unknown"] * 4, "not_yet"]
    assert [row.kind for row in rows][:3] == ["seal_inspection", "alignment", "filter"]


def test_grease_comes_from_the_bearings_of_the_nameplate(with_tasks: Opened) -> None:
    # Common practice: 0.005 x 80 x 18 = 7.2 g and 0.005 x 110 x 27 = 14.85 g.
    plate = '[[pump]]\nname = "P09"\n[pump.nameplate]\nbearings = [{ outside_mm = 80, width_mm = 18 }]\n'
    source = with_tasks(plate + task("greasing", every_run_h=2000))
    assert [grease.grams for grease in only(source, "P09").grease] == [pytest.approx(7.2)]
    assert only(source).grease == ()


def test_the_tasks_own_bearings_go_first(with_tasks: Opened) -> None:
    plate = '[[pump]]\nname = "P09"\n[pump.nameplate]\nbearings = [{ outside_mm = 80, width_mm = 18 }]\n'
    own = (
        '\n[[upkeep]]\nkind = "greasing"\nevery_days = 9\nbearings = [{ outside_mm = 110, width_mm = 27 }]\n'
    )
    assert [grease.grams for grease in only(with_tasks(plate + own), "P09").grease] == [pytest.approx(14.85)]


def test_programs_read_hours_days_and_instants(with_tasks: Opened) -> None:
    source = with_tasks(task("greasing", every_run_h=500))
    done(source, "greased", day=25)
    plain = plain_row(only(source))
    assert plain["done_utc"] == "2026-06-26T00:00:00Z"
    assert (plain["task"], plain["due_by"], plain["every_run_h"]) == ("greasing", "run_h", 500.0)
