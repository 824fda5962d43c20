"""An import that loses a cell, a row or a contradiction says so; one that would lose a column stops."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from collector.store import Store
from collector.trend_log import ImportOptions, ImportReport, TrendLogError, column_choice
from collector.trend_log.options import Decimal

Take = Callable[..., ImportReport]
END = 10**15


def stamp(minute: int) -> str:
    return f"2026-03-01T14:{minute:02d}:00Z"


def log(*cells: str, separator: str = ",") -> str:
    rows = [separator.join((stamp(minute), cell, "6")) for minute, cell in enumerate(cells)]
    return "\n".join([separator.join(("time", "flow_m3h", "head_m")), *rows]) + "\n"


def flows(store: Store) -> list[float | None]:
    return [row[1] for row in store.rows("P01", 0, END, ["flow_m3h"])]


@pytest.mark.parametrize(
    ("decimal", "separator", "cells", "expected"),
    [
        ("auto", ",", ('"1,100.5"', '"1,101"', "85"), [1100.5, 1101.0, 85.0]),
        ("auto", ",", ("980.5", '"1,100"'), [980.5, 1100.0]),
        ("auto", ";", ("1.234,5", "85,25"), [1234.5, 85.25]),
        ("auto", ";", ("1,234.5", "85.25"), [1234.5, 85.25]),
        ("point", ",", ('"1,100"', '"12,345.5"'), [1100.0, 12345.5]),
        ("comma", ";", ("1.234", "2,5"), [1234.0, 2.5]),
        ("comma", ",", ('"1.234,5"', '"2,5"'), [1234.5, 2.5]),
    ],
)
def test_thousands_marks_are_understood(
    store: Store, take: Take, decimal: Decimal, separator: str, cells: tuple[str, ...], expected: list[float]
) -> None:
    """1,234.5 and 1.234,5: both ways of grouping by three (common practice)."""
    take(log(*cells, separator=separator), ImportOptions(decimal=decimal))
    assert flows(store) == expected


@pytest.mark.parametrize(
    ("separator", "cells"),
    [
        (",", ('"1,100"', "980")),
        (",", ('"1,5"', '"2,5"')),
        ("\t", ("1,100",)),
        (";", ("1.5", "1,5")),
        (";", ("1.500", "1,500")),
    ],
)
def test_a_comma_that_may_be_either_is_asked_not_guessed(
    store: Store, take: Take, separator: str, cells: tuple[str, ...]
) -> None:
    with pytest.raises(TrendLogError, match="say --decimal comma or --decimal point"):
        take(log(*cells, separator=separator))
    assert store.pump_names() == ()


@pytest.mark.parametrize("cell", ['"1,10"', '"11,00.5"', '"1,,100"', '"1.100,5"'])
def test_marks_that_are_not_three_digits_apart_are_no_number(store: Store, take: Take, cell: str) -> None:
    report = take(log("5.5", cell), ImportOptions(decimal="point"))
    assert (flows(store), report.values_unreadable) == ([5.5, None], 1)


def test_unreadable_cells_are_told_with_the_column_the_count_and_the_first(take: Take) -> None:
    report = take(log("5", "stuck", "", "off"))
    (trouble,) = report.column_troubles
    assert trouble.sentence() == ("column 'flow_m3h': 2 of 4 cells are no number, first at line 3: 'stuck'")


def test_they_are_counted_over_the_whole_of_a_long_file(take: Take) -> None:
    start = datetime(2026, 1, 1, tzinfo=UTC)
    rows = [
        f"{start + timedelta(seconds=number)},{'off' if number in (5_999, 10_500) else 5},6"
        for number in range(11_000)
    ]
    (trouble,) = take("time,flow_m3h,head_m\n" + "\n".join(rows)).column_troubles
    assert (trouble.count, trouble.cells, trouble.line) == (2, 11_000, 6_001)


@pytest.mark.parametrize(
    ("cells", "complaint"),
    [
        (("off", "", "off"), "column 'flow_m3h': 2 of 3 cells are no number, first at line 2: 'off'"),
        (("99999", "99999"), "2 of 2 cells are values no pump can have, first at line 2: '99999'"),
    ],
)
def test_a_column_that_gives_no_value_stops_the_import(
    store: Store, take: Take, cells: tuple[str, ...], complaint: str
) -> None:
    with pytest.raises(TrendLogError) as caught:
        take(log(*cells))
    assert complaint in str(caught.value)
    assert "nothing was imported" in str(caught.value)
    assert "\n" not in str(caught.value)
    assert store.pump_names() == ()


def test_a_column_that_was_chosen_and_is_empty_stops_the_import_too(store: Store, take: Take) -> None:
    chosen = ImportOptions(columns=(column_choice("power_w=Input"),))
    with pytest.raises(TrendLogError, match="column 'Input': all 2 cells are empty"):
        take(f"time,Input,head_m\n{stamp(0)},,6\n{stamp(1)},n/a,6\n", chosen)
    assert store.pump_names() == ()


def test_an_empty_column_of_our_own_name_is_a_log_without_it(store: Store, take: Take) -> None:
    assert take(log("", "")).rows_new == 2
    assert flows(store) == [None, None]


def test_duplicates_that_say_otherwise_are_counted_and_the_stored_ones_stay(store: Store, take: Take) -> None:
    take(log("5", "6", "7"))
    report = take(log("5", "8", "7", "9"))
    assert (report.rows_new, report.rows_duplicate, report.rows_contradicting) == (1, 3, 1)
    assert flows(store) == [5.0, 6.0, 7.0, 9.0]


def test_two_rows_of_one_file_can_contradict_each_other(store: Store, take: Take) -> None:
    report = take(f"time,head_m\n{stamp(0)},6\n{stamp(0)},7\n")
    assert (report.rows_new, report.rows_contradicting) == (1, 1)


def test_a_value_that_only_one_of_them_has_contradicts_nothing(take: Take) -> None:
    take(log("5"))
    assert take(f"time,head_m,power_w\n{stamp(0)},6,1450\n").rows_contradicting == 0


@pytest.mark.parametrize(("ahead", "aside"), [(timedelta(hours=23), 0), (timedelta(hours=25), 1)])
def test_a_row_of_the_future_is_set_aside(take: Take, ahead: timedelta, aside: int) -> None:
    """Both sides of the day by which a log's clock may be ahead."""
    later = datetime.now(UTC) + ahead
    report = take(f"time,head_m\n{stamp(0)},6\n{later.isoformat()},6\n")
    assert (report.rows_new, report.rows_set_aside) == (2 - aside, aside)
    assert all("in the future" in each.reason for each in report.set_aside)


def test_so_is_one_that_counts_its_time_in_seconds(take: Take) -> None:
    future_s = int(time.time()) + 90_000
    report = take(f"time,head_m\n1767225600,6\n{future_s},6\n-5,6\n", ImportOptions(time_format="unix_s"))
    assert (report.rows_new, report.rows_set_aside) == (1, 2)


def test_a_row_without_one_good_value_is_set_aside(store: Store, take: Take) -> None:
    report = take(f"time,flow_m3h,head_m\n{stamp(0)},5,6\n{stamp(1)},99999,off\n{stamp(2)},,6\n")
    assert (report.rows_new, report.rows_set_aside) == (2, 1)
    assert (report.set_aside[0].line, report.set_aside[0].reason) == (3, "no value in it can be used")
