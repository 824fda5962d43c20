"""A real series, made by others: hourly flow in a pipeline over eight weeks with gaps and a clock change.

Source: ``river/datasets/water-flow.csv`` of the package river 0.26 (package under BSD-3-Clause; its
documentation says that the data was donated). 1,268 hourly means in litres a second, times in ISO 8601 with
the offset of the day: +01:00 until 27 March 2022, +02:00 after. Counted in the file with awk and date, not
with this program: mean 100.05, lowest 24.24, highest 109.68 l/s; the steps that are not one hour are of 32,
23, 22, 16, 11, 7 and 4 hours, and three of 2 hours. The file is read where pip put it; the package itself is
not imported.
"""

from __future__ import annotations

from collections import Counter
from importlib.metadata import files
from itertools import pairwise
from pathlib import Path

import pytest

from collector.store import HOUR_MS, Store
from collector.trend_log import ColumnChoice, ImportOptions, ImportReport, import_trend_log

END = 10**15
OPTIONS = ImportOptions(columns=(ColumnChoice(quantity="flow_m3h", source="Water flow [l/s]:L/s"),))


@pytest.fixture
def path() -> Path:
    (found,) = [file for file in files("river") or [] if file.name == "water-flow.csv"]
    return Path(str(found.locate()))


@pytest.fixture
def report(store: Store, path: Path) -> ImportReport:
    return import_trend_log(store, "main", path, OPTIONS)


def test_every_row_is_taken(report: ImportReport) -> None:
    assert (report.rows_read, report.rows_new, report.rows_set_aside) == (1268, 1268, 0)


def test_the_series_begins_and_ends_where_it_does(report: ImportReport, store: Store) -> None:
    # 2022-03-20T10:00Z and 2022-05-16T20:00Z
    assert store.span("main") == (1_647_770_400_000, 1_652_731_200_000)


def test_the_flow_is_that_of_the_source_in_our_unit(report: ImportReport, store: Store) -> None:
    flows_ls = [flow / 3.6 for _, flow in store.rows("main", 0, END, ["flow_m3h"])]
    assert sum(flows_ls) / len(flows_ls) == pytest.approx(100.05, abs=0.005)
    assert (min(flows_ls), max(flows_ls)) == (pytest.approx(24.24), pytest.approx(109.68))


def test_the_clock_change_neither_doubles_nor_loses_an_hour(report: ImportReport, store: Store) -> None:
    # Around 2022-03-27T01:00Z, when the offset in the file goes from +01:00 to +02:00.
    change = 1_648_342_800_000
    around = [time for (time,) in store.rows("main", change - 3 * HOUR_MS, change + 3 * HOUR_MS, [])]
    assert around == [change + step * HOUR_MS for step in range(-3, 3)]


def test_gaps_stay_gaps(report: ImportReport, store: Store) -> None:
    times = [time for (time,) in store.rows("main", 0, END, [])]
    steps = Counter((after - before) // HOUR_MS for before, after in pairwise(times))
    assert {step: count for step, count in steps.items() if step > 1} == {
        32: 1,
        23: 1,
        22: 1,
        16: 1,
        11: 1,
        7: 1,
        4: 1,
        2: 3,
    }


def test_the_second_time_adds_nothing(report: ImportReport, store: Store, path: Path) -> None:
    again = import_trend_log(store, "main", path, OPTIONS)
    assert (again.rows_new, again.rows_duplicate) == (0, 1268)


def test_the_hours_to_look_at_are_the_hours_with_flow(report: ImportReport, store: Store) -> None:
    assert len(store.touched_hours().hours["main"]) == 1268
