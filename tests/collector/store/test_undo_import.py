"""An import is taken back exactly: what it brought goes, what others brought stays, in whatever order."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from itertools import permutations
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.quantities import QUANTITY_NAMES
from collector.reading import Quality, Reading, Source, pack_quality
from collector.store import HOUR_MS, CannotUndo, SetAside, Store, open_store
from collector.store.changes import Change, keep_changes, kept_changes

END = 10**15
Row = tuple[Any, ...]


def imported(minute: int, flaws: dict[str, Quality] | None = None, **values: float) -> Row:
    cells = [values.get(name) for name in QUANTITY_NAMES]
    return (minute * 60_000, 1, *cells, pack_quality(flaws or {}), int(Source.IMPORTED))


def take(store: Store, *rows: Row, batch: int = 1000) -> int:
    with store.importing("P01") as session_of:
        session = session_of("log.csv")
        for start in range(0, len(rows), batch):
            session.add(rows[start : start + batch])
        session.finish("sum", 1)
        return session.import_id


def everything(store: Store) -> list[Row]:
    return store.rows("P01", 0, END, (*QUANTITY_NAMES, "quality", "source"))


def test_all_that_an_import_brought_is_gone(store: Store) -> None:
    number = take(store, *(imported(minute, head_m=6.0) for minute in range(5000)), batch=700)
    undone = store.undo_import(number, 5)
    assert (undone.pump, undone.file_name, undone.rows_removed, undone.rows_emptied) == (
        "P01", "log.csv", 5000, 0,
    )  # fmt: skip
    assert (everything(store), store.span("P01"), store.latest("P01")) == ([], None, None)


def test_what_was_there_before_is_as_it_was(store: Store) -> None:
    take(store, *(imported(minute, head_m=6.0) for minute in range(10)))
    before = everything(store)
    rows = (imported(minute, flow_m3h=20.0, power_w=900.0) for minute in range(5, 15))
    undone = store.undo_import(take(store, *rows), 5)
    assert (undone.rows_removed, undone.rows_emptied) == (5, 5)
    assert everything(store) == before


def test_what_a_later_import_filled_in_stays(store: Store) -> None:
    first = take(store, imported(1, speed_rpm=1450.0, power_w=900.0))
    take(store, imported(1, flow_m3h=20.0))
    store.undo_import(first, 5)
    assert everything(store) == [(60_000, *imported(1, flow_m3h=20.0)[2:])]


def test_why_a_cell_was_empty_comes_back_too(store: Store) -> None:
    take(store, imported(1, {"head_m": Quality.UNREADABLE}, flow_m3h=20.0))
    before = everything(store)
    number = take(store, imported(1, {"power_w": Quality.IMPOSSIBLE}, head_m=6.0))
    assert everything(store) != before
    store.undo_import(number, 5)
    assert everything(store) == before


def test_rows_that_contradicted_or_were_there_are_not_taken_back(store: Store) -> None:
    take(store, imported(1, head_m=6.0), imported(2, head_m=6.0))
    before = everything(store)
    store.undo_import(take(store, imported(1, head_m=9.0), imported(2, head_m=6.0)), 5)
    assert everything(store) == before


def test_what_was_polled_is_never_touched(store: Store) -> None:
    store.append([Reading(pump="P01", time_utc_ms=60_000, head_m=6.0)])
    before = everything(store)
    store.undo_import(take(store, imported(1, head_m=6.0, flow_m3h=20.0), imported(2, head_m=7.0)), 5)
    assert everything(store) == before


def test_another_pumps_readings_of_the_same_instants_stay(store: Store) -> None:
    number = take(store, imported(1, head_m=6.0))
    store.append([Reading(pump="P02", time_utc_ms=60_000, head_m=8.0)])
    store.undo_import(number, 5)
    assert [row[1] for row in store.rows("P02", 0, END, ["head_m"])] == [8.0]


def test_its_hours_are_looked_at_again_and_no_others(store: Store) -> None:
    take(store, imported(0, head_m=6.0), imported(600, head_m=6.0))
    number = take(store, imported(0, flow_m3h=20.0), imported(200, head_m=6.0))
    mark = store.touched_hours().mark
    store.undo_import(number, 5)
    assert store.touched_hours(mark).hours == {"P01": [0, 3 * HOUR_MS, 10 * HOUR_MS]}


def test_the_newest_hour_is_looked_at_again_and_filled_anew(store: Store) -> None:
    take(store, imported(0, head_m=6.0))
    number = take(store, imported(600, head_m=6.0))
    mark = store.touched_hours().mark
    store.undo_import(number, 5)
    assert 10 * HOUR_MS in store.touched_hours(mark).hours["P01"]
    assert store.span("P01") == (0, 0)
    store.append([Reading(pump="P01", time_utc_ms=601 * 60_000, head_m=6.5)])
    assert store.span("P01") == (0, 601 * 60_000)


def test_the_log_says_that_it_was_undone_and_the_file_can_be_imported_again(store: Store) -> None:
    row = imported(1, head_m=6.0)
    first = take(store, row)
    store.undo_import(first, 5)
    second = take(store, row)
    records = [(each.import_id, each.rows_new, each.undone_utc_ms) for each in store.imports()]
    assert (records, second) == ([(1, 1, 5), (2, 1, None)], 2)


def test_lines_set_aside_are_kept_again_after_an_undo(store: Store) -> None:
    for number in (1, 2):
        with store.importing("P01") as session_of:
            session = session_of("log.csv")
            session.set_aside([SetAside(line=2, reason="broken", text="x")])
            session.finish("sum", 1)
        assert len(store.set_aside(number)) == 1
        store.undo_import(number, 5)


@pytest.mark.parametrize(
    ("number", "complaint"),
    [(7, "there is no import 7; the last one is 1"), (1, r"import 1 \(log.csv for P01\) was undone before")],
)
def test_what_cannot_be_undone_is_refused_in_words(store: Store, number: int, complaint: str) -> None:
    store.undo_import(take(store, imported(1, head_m=6.0)), 5)
    with pytest.raises(CannotUndo, match=complaint):
        store.undo_import(number, 6)


def test_an_import_into_an_empty_database_is_nothing_to_undo(store: Store) -> None:
    with pytest.raises(CannotUndo, match="there is no import 1; nothing was imported yet"):
        store.undo_import(1, 5)


def test_an_import_older_than_the_record_of_changes_says_so(store: Store) -> None:
    number = take(store, imported(1, head_m=6.0))
    with store.database.writing() as connection:
        connection.exec_driver_sql("DELETE FROM import_change")
    with pytest.raises(CannotUndo, match="a version that did not keep what an import brought"):
        store.undo_import(number, 5)
    assert len(everything(store)) == 1


def test_an_undo_that_fails_half_way_changes_nothing(store: Store, file: Path) -> None:
    number = take(store, *(imported(minute, head_m=6.0) for minute in range(3000)))
    before = everything(store)
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("UPDATE import_change SET packed = x'00' WHERE part = 2")
        connection.commit()
    with pytest.raises(Exception, match="decompress"):
        store.undo_import(number, 5)
    assert (everything(store), store.imports()[0].undone_utc_ms) == (before, None)


CELLS = st.dictionaries(
    st.sampled_from(["head_m", "flow_m3h", "power_w"]),
    st.sampled_from([6.0, 7.0, Quality.UNREADABLE, Quality.NO_VALUE]),
    min_size=1,
).filter(lambda cells: any(isinstance(cell, float) for cell in cells.values()))
FILE = st.lists(st.tuples(st.integers(0, 4), CELLS), min_size=1, max_size=6)


def rows_of(file: Sequence[tuple[int, dict[str, Any]]]) -> list[Row]:
    """Return the rows of a file: a cell that is not drawn of a column that others have is an empty one."""
    columns = {name: Quality.NO_VALUE for _, cells in file for name in cells}
    return [
        imported(
            minute,
            {name: cell for name, cell in cells.items() if isinstance(cell, Quality)},
            **{name: cell for name, cell in cells.items() if not isinstance(cell, Quality)},
        )
        for minute, drawn in file
        for cells in [{**columns, **drawn}]
    ]


@settings(max_examples=60, deadline=None)
@given(st.lists(FILE, min_size=1, max_size=4))
def test_undoing_backwards_goes_through_the_same_states(files: list[list[tuple[int, Any]]]) -> None:
    """Cell by cell, with the reasons of empty cells."""
    with (
        TemporaryDirectory() as folder,
        closing(open_store(f"sqlite:///{Path(folder) / 'site.sqlite'}")) as store,
    ):
        states = []
        for file in files:
            states.append(everything(store))
            take(store, *rows_of(file), batch=3)
        for number in range(len(files), 0, -1):
            store.undo_import(number, 5)
            assert everything(store) == states[number - 1]


@pytest.mark.parametrize("order", list(permutations((1, 2, 3))))
def test_in_whatever_order_only_its_own_values_go(store: Store, order: tuple[int, ...]) -> None:
    brought = {1: {"head_m": 6.0}, 2: {"flow_m3h": 20.0}, 3: {"power_w": 900.0, "speed_rpm": 1450.0}}
    for values in brought.values():
        take(store, imported(1, **values))
    left = dict(brought)
    for number in order:
        store.undo_import(number, 5)
        del left[number]
        expected = {name: value for values in left.values() for name, value in values.items()}
        assert everything(store) == ([(60_000, *imported(1, **expected)[2:])] if expected else [])


def test_a_minutes_row_of_a_regular_log_costs_less_than_a_byte(store: Store, file: Path) -> None:
    take(store, *(imported(minute, head_m=6.0, flow_m3h=20.0) for minute in range(10_000)), batch=5000)
    with store.database.reading() as connection:
        size = connection.exec_driver_sql("SELECT sum(length(packed)) FROM import_change").scalar()
    assert size is not None
    assert size < 10_000


CHANGES = st.dictionaries(
    st.integers(0, END),
    st.builds(
        Change,
        values=st.integers(0, 2**13 - 1),
        flaws=st.integers(0, 2**13 - 1),
        quality=st.integers(0, 2**52 - 1),
    ),
    min_size=1,
    max_size=20,
)


@settings(max_examples=40, deadline=None)
@given(CHANGES)
def test_what_was_brought_comes_back_as_it_was_kept(changes: dict[int, Change]) -> None:
    with (
        TemporaryDirectory() as folder,
        closing(open_store(f"sqlite:///{Path(folder) / 'site.sqlite'}")) as store,
    ):
        number = take(store, imported(1, head_m=6.0))
        with store.database.writing() as connection:
            keep_changes(connection, number, 9, changes)
            assert list(kept_changes(connection, number))[-1] == changes
