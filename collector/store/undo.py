"""An import taken back: the values it brought and no others."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection

from collector.reading import Source
from collector.store.changes import Change, kept_changes, without
from collector.store.dialect import fetch, marks
from collector.store.errors import CannotUndo
from collector.store.journal import hour_of, touch_again
from collector.store.merging import SOURCE, Row, has_values, rewrite, stored_rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone:
    """What was taken back: whole readings, and values out of readings that others filled as well."""

    import_id: int
    pump: str
    file_name: str
    rows_removed: int
    rows_emptied: int


def undo_import(connection: Connection, import_id: int, time_utc_ms: int) -> Undone:
    """Take back the values that an import brought, within the caller's transaction.

    Values are exact in whatever order imports are undone. Why an empty cell is empty is as before the import
    if those after it are undone first.

    Raises
    ------
    CannotUndo
        When there is no such import, it was undone before, or it is older than the record of changes.
    """
    pump_id, pump, file_name = _must_be_undoable(connection, import_id)
    removed = emptied = 0
    hours: set[int] = set()
    for changes in kept_changes(connection, import_id):
        gone, less = _take_back(connection, pump_id, changes)
        removed, emptied = removed + len(gone), emptied + len(less)
        hours.update(hour_of(row[0]) for row in (*gone, *less))
    touch_again(connection, pump_id, hours)
    one = marks(connection, 1)
    connection.exec_driver_sql(f"DELETE FROM import_change WHERE import_id = {one}", (import_id,))
    connection.exec_driver_sql(
        f"UPDATE import_log SET undone_utc_ms = {one} WHERE import_id = {one}", (time_utc_ms, import_id)
    )
    return Undone(
        import_id=import_id, pump=pump, file_name=file_name, rows_removed=removed, rows_emptied=emptied
    )


def _must_be_undoable(connection: Connection, import_id: int) -> tuple[int, str, str]:
    found = fetch(
        connection,
        "SELECT import_log.pump_id, pump.name, file_name, rows_new + rows_completed, undone_utc_ms"
        " FROM import_log JOIN pump ON pump.pump_id = import_log.pump_id WHERE import_id = ?",
        import_id,
    )
    if not found:
        ((last,),) = fetch(connection, "SELECT coalesce(max(import_id), 0) FROM import_log")
        there_are = f"the last one is {last}" if last else "nothing was imported yet"
        raise CannotUndo(f"there is no import {import_id}; {there_are}")
    ((pump_id, pump, file_name, rows, undone_utc_ms),) = found
    what = f"import {import_id} ({file_name} for {pump})"
    if undone_utc_ms is not None:
        raise CannotUndo(f"{what} was undone before")
    parts = fetch(connection, "SELECT part FROM import_change WHERE import_id = ? LIMIT 1", import_id)
    if rows and not parts:
        raise CannotUndo(
            f"{what} cannot be undone: it was made by a version that did not keep what an import brought"
        )
    return pump_id, pump, file_name


def _take_back(
    connection: Connection, pump_id: int, changes: dict[int, Change]
) -> tuple[list[Row], list[Row]]:
    """Return the rows that are gone, and those that only have fewer values now."""
    stored = stored_rows(connection, pump_id, list(changes))
    left = [
        without(row, changes[time_utc_ms])
        for time_utc_ms, row in stored.items()
        if row[SOURCE] == Source.IMPORTED
    ]
    gone = [row for row in left if not has_values(row)]
    less = [row for row in left if has_values(row)]
    rewrite(connection, less)
    if gone:
        one = marks(connection, 1)
        connection.exec_driver_sql(
            f"DELETE FROM reading WHERE time_utc_ms = {one} AND pump_id = {one}",
            [(row[0], row[1]) for row in gone],
        )
    return gone, less
