"""One file a point is the usual export: a missing value is filled, a value that is there stands."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from collector.quantities import QUANTITY_NAMES
from collector.reading import Quality, Reading, Source, unpack_quality
from collector.store import HOUR_MS, Store
from collector.trend_log import (
    ImportOptions,
    ImportReport,
    TrendLogError,
    column_choice,
    import_trend_logs,
)

Take = Callable[..., ImportReport]
END = 10**15
START_MS = 1_767_225_600_000
"""2026-01-01T00:00Z."""


def log(columns: str, *rows: str, minute: int = 0) -> str:
    """Return a log of one row a minute from a minute on."""
    lines = [f"{START_MS + 60_000 * (minute + number)},{row}" for number, row in enumerate(rows)]
    return "\n".join([f"time,{columns}", *lines]) + "\n"


UNIX_MS = ImportOptions(time_format="unix_ms")


def stored(store: Store, *columns: str) -> list[tuple[float | None, ...]]:
    return [row[1:] for row in store.rows("P01", 0, END, columns)]


def test_a_second_file_fills_the_columns_that_the_first_did_not_have(store: Store, take: Take) -> None:
    take(log("speed_rpm,power_w", "1450,900", "1440,890"), UNIX_MS)
    report = take(log("flow_m3h,head_m", "20,6", "21,7"), UNIX_MS)
    assert (report.rows_new, report.rows_completed, report.rows_duplicate) == (0, 2, 0)
    assert stored(store, "speed_rpm", "power_w", "flow_m3h", "head_m") == [
        (1450, 900, 20, 6),
        (1440, 890, 21, 7),
    ]


def test_it_brings_new_rows_and_completes_others_at_once(store: Store, take: Take) -> None:
    take(log("speed_rpm", "1450", "1440"), UNIX_MS)
    report = take(log("head_m", "6", "7", "8", minute=1), UNIX_MS)
    assert (report.rows_new, report.rows_completed, report.rows_duplicate) == (2, 1, 0)
    assert stored(store, "speed_rpm", "head_m") == [(1450, None), (1440, 6), (None, 7), (None, 8)]


def test_a_value_that_is_there_stands_while_the_missing_one_is_filled(store: Store, take: Take) -> None:
    """The first write wins value by value: the same head within 1e-6 is no contradiction."""
    take(log("head_m", "6"), UNIX_MS)
    report = take(log("head_m,flow_m3h", "6.000001,20"), UNIX_MS)
    assert (report.rows_completed, report.rows_contradicting) == (1, 0)
    assert stored(store, "head_m", "flow_m3h") == [(6, 20)]


def test_a_row_that_contradicts_fills_nothing(store: Store, take: Take) -> None:
    """Its instant or its pump may be another one."""
    take(log("head_m", "6"), UNIX_MS)
    report = take(log("head_m,flow_m3h", "9,20"), UNIX_MS)
    assert (report.rows_completed, report.rows_contradicting) == (0, 1)
    assert stored(store, "head_m", "flow_m3h") == [(6, None)]


def test_what_was_no_number_is_filled_by_a_log_that_has_it(store: Store, take: Take) -> None:
    take(log("head_m,flow_m3h", "6,stuck", "6,20"), UNIX_MS)
    take(log("flow_m3h", "19"), UNIX_MS)
    assert stored(store, "flow_m3h", "quality") == [(19, 0), (20, 0)]


def test_a_completed_reading_says_why_its_other_cells_are_empty(store: Store, take: Take) -> None:
    take(log("speed_rpm", "1450", "1450"), UNIX_MS)
    take(log("flow_m3h,head_m", "20,off", "20,6"), UNIX_MS)
    qualities = [unpack_quality(int(row[0] or 0))["head_m"] for row in stored(store, "quality")]
    assert qualities == [Quality.UNREADABLE, Quality.GOOD]


def test_a_log_with_one_value_a_row_is_joined_by_its_times(store: Store, take: Take) -> None:
    first, second = (f"{START_MS + 60_000 * minute}" for minute in (0, 1))
    text = f"time,flow_m3h,head_m\n{first},20,\n{first},,6\n{second},21,\n{second},,7\n"
    report = take(text, UNIX_MS)
    assert (report.rows_new, report.rows_completed) == (2, 2)
    assert stored(store, "flow_m3h", "head_m") == [(20, 6), (21, 7)]


@pytest.mark.parametrize("source", [Source.POLLED, Source.HEARD])
def test_what_was_read_from_the_drive_is_not_completed_from_a_file(
    store: Store, take: Take, source: Source
) -> None:
    store.append([Reading(pump="P01", time_utc_ms=START_MS, head_m=6.0, source=source)])
    report = take(log("flow_m3h", "20", "21"), UNIX_MS)
    assert (report.rows_new, report.rows_completed, report.rows_duplicate) == (1, 0, 1)
    assert report.rows_beside_polled == 1
    assert stored(store, "head_m", "flow_m3h", "source") == [(6, None, source), (None, 21, Source.IMPORTED)]


def test_the_third_time_nothing_is_left_to_complete(store: Store, take: Take) -> None:
    take(log("speed_rpm", "1450"), UNIX_MS)
    take(log("head_m", "6"), UNIX_MS)
    before = store.rows("P01", 0, END, (*QUANTITY_NAMES, "quality", "source"))
    mark = store.touched_hours().mark
    report = take(log("head_m", "6"), UNIX_MS)
    assert (report.rows_completed, report.rows_duplicate, store.touched_hours().mark) == (0, 1, mark)
    assert store.rows("P01", 0, END, (*QUANTITY_NAMES, "quality", "source")) == before


def test_completed_hours_are_looked_at_again_and_no_others(store: Store, take: Take) -> None:
    take(log("speed_rpm", *["1450"] * 300), UNIX_MS)
    mark = store.touched_hours().mark
    take(log("head_m", *["6"] * 60, minute=60), UNIX_MS)
    hour = START_MS + HOUR_MS
    assert store.touched_hours(mark).hours == {"P01": [hour, START_MS + 4 * HOUR_MS]}


def test_every_row_of_a_second_file_is_accounted_for(take: Take) -> None:
    take(log("head_m", "6", "6", "6"), UNIX_MS)
    report = take(log("head_m,flow_m3h", "6,20", "9,20", ",", "6,", "6,20"), UNIX_MS)
    assert report.rows_read == 5
    assert (report.rows_new, report.rows_completed, report.rows_duplicate) == (2, 1, 1)
    assert (report.rows_contradicting, report.rows_set_aside) == (1, 1)


def files(folder: Path, **texts: str) -> list[Path]:
    paths = [folder / f"{name}.csv" for name in texts]
    for path, text in zip(paths, texts.values(), strict=True):
        path.write_text(text, encoding="utf-8")
    return paths


def test_several_files_are_joined_by_time(store: Store, tmp_path: Path) -> None:
    paths = files(tmp_path, a=log("speed_rpm", "1450"), b=log("CHW flow", "100"), c=log("head_m", "6"))
    options = ImportOptions(time_format="unix_ms", columns=(column_choice("flow_m3h=CHW flow:L/min"),))
    reports = import_trend_logs(store, "P01", paths, options)
    assert [(report.rows_new, report.rows_completed) for report in reports] == [(1, 0), (0, 1), (0, 1)]
    assert [report.import_id for report in reports] == [1, 2, 3]
    assert stored(store, "speed_rpm", "flow_m3h", "head_m") == [(1450, 6, 6)]


def test_several_files_are_taken_all_or_none(store: Store, tmp_path: Path) -> None:
    paths = files(tmp_path, a=log("speed_rpm", "1450"), b="time,head_m\n")
    with pytest.raises(TrendLogError, match=r"b\.csv: has a header row but no rows below it"):
        import_trend_logs(store, "P01", paths, UNIX_MS)
    assert (store.pump_names(), store.imports()) == ((), [])


def test_a_column_that_none_of_several_files_has_is_named_with_the_nearest(
    store: Store, tmp_path: Path
) -> None:
    paths = files(tmp_path, a=log("speed_rpm", "1450"), b=log("Flow rate", "6"))
    options = ImportOptions(time_format="unix_ms", columns=(column_choice("flow_m3h=Flow rat:gpm"),))
    with pytest.raises(TrendLogError, match="none of the 2 files has a column") as caught:
        import_trend_logs(store, "P01", paths, options)
    assert "Flow rate" in str(caught.value)
