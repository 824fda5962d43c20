"""Whole files of readings: kept in one transaction, with a log of what came from where."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any, Final

from sqlalchemy import Connection

from collector.store.contradictions import contradictions
from collector.store.dialect import fetch, insert_or_keep, marks
from collector.store.journal import hour_of, touch
from collector.store.tables import IMPORT_LOG, READING, SET_ASIDE

_SEEN: Final = "SELECT count(*) FROM import_log WHERE sha256 = ? AND pump_id = ? AND import_id <> ?"


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """A row of a file that gave no reading: its line (1 is the header's), why, and its text."""

    line: int
    reason: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportRecord:
    """An import that was completed. ``sha256`` is of the file's bytes."""

    import_id: int
    pump: str
    file_name: str
    sha256: str
    time_utc_ms: int
    rows_new: int
    rows_duplicate: int
    rows_set_aside: int


class ImportSession:
    """One file on its way into the database. Nothing of it is seen by others until all of it is kept.

    Made by ``Store.importing``; ``finish`` is its last call.
    """

    def __init__(self, connection: Connection, pump_id: int, file_name: str) -> None:
        self._connection = connection
        self.pump_id = pump_id
        self.rows_new = 0
        self.rows_duplicate = 0
        self.rows_contradicting = 0
        self.rows_set_aside = 0
        ((last,),) = fetch(connection, "SELECT coalesce(max(import_id), 0) FROM import_log")
        self.import_id = last + 1
        insert_or_keep(connection, IMPORT_LOG, [(self.import_id, pump_id, file_name, "", 0, 0, 0, 0)])

    def add(self, rows: Sequence[tuple[Any, ...]]) -> None:
        """Keep rows in the column order of the reading table: time, pump_id, quantities, quality, source."""
        new = insert_or_keep(self._connection, READING, rows)
        if new:
            hours = {(self.pump_id, hour_of(row[0])) for row in rows}
            touch(self._connection, hours, has_reading=True)
        if new < len(rows):
            self.rows_contradicting += contradictions(self._connection, self.pump_id, rows)
        self.rows_new += new
        self.rows_duplicate += len(rows) - new

    def set_aside(self, lines: Iterable[SetAside]) -> None:
        """Keep lines that gave no reading."""
        rows = [(self.import_id, each.line, each.reason, each.text) for each in lines]
        insert_or_keep(self._connection, SET_ASIDE, rows)
        self.rows_set_aside += len(rows)

    def finish(self, sha256: str, time_utc_ms: int) -> None:
        """Complete the log. Lines that an import of the same file already set aside are not kept twice."""
        if not self.rows_new and self._seen_before(sha256):
            self._execute("DELETE FROM set_aside WHERE import_id = ?", self.import_id)
        self._execute(
            "UPDATE import_log SET sha256 = ?, time_utc_ms = ?, rows_new = ?, rows_duplicate = ?,"
            " rows_set_aside = ? WHERE import_id = ?",
            sha256,
            time_utc_ms,
            self.rows_new,
            self.rows_duplicate,
            self.rows_set_aside,
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
