"""Whole files of readings: kept in one transaction, with a log of what came from where."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Final

from sqlalchemy import Connection

from collector.store.changes import Change, change, keep_changes
from collector.store.dialect import fetch, insert_or_keep, marks
from collector.store.journal import hour_of, touch
from collector.store.merging import QUALITY, Row, merge, rewrite
from collector.store.tables import IMPORT_LOG, READING, SET_ASIDE

_SEEN: Final = (
    "SELECT count(*) FROM import_log"
    " WHERE sha256 = ? AND pump_id = ? AND import_id <> ? AND undone_utc_ms IS NULL"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A row of a file that gave no reading: its line (1 is the header's), why, and its text."""

    line: int
    reason: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportRecord:
    """An import that was kept.

    ``sha256`` is of the file's bytes; ``undone_utc_ms`` is when it was undone, ``None`` when it was not.
    """

    import_id: int
    pump: str
    file_name: str
    sha256: str
    time_utc_ms: int
    rows_new: int
    rows_duplicate: int
    rows_set_aside: int
    rows_completed: int
    undone_utc_ms: int | None


class ImportSession:
    """One file on its way into the database. Nothing of it is seen by others until all of it is kept.

    Made by ``Store.importing``; ``finish`` is its last call. Each row counts once: ``rows_new``,
    ``rows_completed`` (it filled values that the reading of its instant had none of) or ``rows_duplicate``.
    Among the duplicates are ``rows_contradicting``, which say otherwise in a value, and
    ``rows_beside_polled``, which have more values than what we read from the drive at that instant: that is
    never completed from a file. ``rows_compared`` had a value in common with what was there.
    """

    def __init__(self, connection: Connection, pump_id: int, file_name: str) -> None:
        self._connection = connection
        self.pump_id = pump_id
        self.rows_new = 0
        self.rows_duplicate = 0
        self.rows_completed = 0
        self.rows_contradicting = 0
        self.rows_compared = 0
        self.rows_beside_polled = 0
        self.rows_set_aside = 0
        self._parts = 0
        self._change_by_quality: dict[int, Change] = {}
        ((last,),) = fetch(connection, "SELECT coalesce(max(import_id), 0) FROM import_log")
        self.import_id = last + 1
        insert_or_keep(
            connection, IMPORT_LOG, [(self.import_id, pump_id, file_name, "", 0, 0, 0, 0, 0, None)]
        )

    def add(self, rows: Sequence[Row]) -> Sequence[Row]:
        """Keep rows in the column order of the reading table: time, pump_id, quantities, quality, source.

        All must be of one file: a row's quality then tells which of its values are missing. Returned are the
        readings that are new or were completed, as they stand now.
        """
        if not rows:
            return rows
        if self._insert_all(rows):
            self.rows_new += len(rows)
            self._keep({row[0]: self._change_of_new(row) for row in rows})
            return rows
        return self._merge(rows)

    def _insert_all(self, rows: Sequence[Row]) -> bool:
        """Insert the rows if every one of them is new, else none."""
        with self._connection.begin_nested() as attempt:
            if insert_or_keep(self._connection, READING, rows) == len(rows):
                return True
            attempt.rollback()
        return False

    def _merge(self, rows: Sequence[Row]) -> list[Row]:
        merged = merge(self._connection, self.pump_id, rows)
        insert_or_keep(self._connection, READING, list(merged.new.values()))
        rewrite(self._connection, merged.completed.values())
        kept = [*merged.new.values(), *merged.completed.values()]
        self._keep({row[0]: change(merged.before.get(row[0]), row) for row in kept})
        self.rows_new += len(merged.new)
        self.rows_completed += merged.completing
        self.rows_duplicate += len(rows) - len(merged.new) - merged.completing
        self.rows_contradicting += merged.contradicting
        self.rows_compared += merged.compared
        self.rows_beside_polled += merged.beside_polled
        return kept

    def _keep(self, changes: Mapping[int, Change]) -> None:
        """Journal the instants [ms UTC] that an import changed, and keep how."""
        touch(self._connection, {(self.pump_id, hour_of(each)) for each in changes}, has_reading=True)
        keep_changes(self._connection, self.import_id, self._parts, changes)
        self._parts += 1

    def _change_of_new(self, row: Row) -> Change:
        known = self._change_by_quality.get(row[QUALITY])
        if known is None:
            known = self._change_by_quality[row[QUALITY]] = change(None, row)
        return known

    def set_aside(self, lines: Iterable[SetAside]) -> None:
        """Keep lines that gave no reading."""
        rows = [(self.import_id, each.line, each.reason, each.text) for each in lines]
        insert_or_keep(self._connection, SET_ASIDE, rows)
        self.rows_set_aside += len(rows)

    def finish(self, sha256: str, time_utc_ms: int) -> None:
        """Complete the log. Lines that an import of the same file already set aside are not kept twice."""
        if not self.rows_new and not self.rows_completed and self._seen_before(sha256):
            self._execute("DELETE FROM set_aside WHERE import_id = ?", self.import_id)
        self._execute(
            "UPDATE import_log SET sha256 = ?, time_utc_ms = ?, rows_new = ?, rows_duplicate = ?,"
            " rows_set_aside = ?, rows_completed = ? WHERE import_id = ?",
            sha256,
            time_utc_ms,
            self.rows_new,
            self.rows_duplicate,
            self.rows_set_aside,
            self.rows_completed,
            self.import_id,
        )

    def _seen_before(self, sha256: str) -> bool:
        ((count,),) = fetch(self._connection, _SEEN, sha256, self.pump_id, self.import_id)
        return bool(count)

    def _execute(self, statement: str, *values: object) -> None:
        self._connection.exec_driver_sql(statement.replace("?", marks(self._connection, 1)), values)


def import_records(connection: Connection) -> list[ImportRecord]:
    """Return the completed imports, oldest first."""
    names = [field.name for field in fields(ImportRecord)]
    columns = ", ".join("pump.name" if name == "pump" else f"import_log.{name}" for name in names)
    found = fetch(
        connection,
        f"SELECT {columns} FROM import_log JOIN pump ON pump.pump_id = import_log.pump_id ORDER BY import_id",
    )
    return [ImportRecord(**dict(zip(names, row, strict=True))) for row in found]


def set_aside_lines(connection: Connection, import_id: int) -> list[SetAside]:
    """Return the lines an import set aside, in the order of the file."""
    statement = "SELECT line, reason, text FROM set_aside WHERE import_id = ? ORDER BY line"
    return [
        SetAside(line=line, reason=reason, text=text)
        for line, reason, text in fetch(connection, statement, import_id)
    ]
