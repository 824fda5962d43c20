"""Readings and failures on disk: appended in whole transactions, read back in the order of time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from operator import attrgetter
from typing import Any, Final

from sqlalchemy import Connection

from collector.line_quarter import LineQuarter
from collector.quantities import QUANTITY_NAMES
from collector.reading import FailureKind, PollFailure, Reading, Source
from collector.store.database import BUSY_TIMEOUT_S, Database, open_database
from collector.store.dialect import fetch, insert_or_keep
from collector.store.imports import (
    ImportRecord,
    ImportSession,
    SetAside,
    import_records,
    set_aside_lines,
)
from collector.store.journal import HOUR_MS, Touched, hour_of, touch, touched_since
from collector.store.lines import insert_quarters, quarters_between, summed_between
from collector.store.migrate import COLLECTOR, bring_up_to_date
from collector.store.names import PumpNames
from collector.store.tables import POLL_FAILURE, READING
from collector.store.undo import Undone, undo_import
from collector.store.writer import GroupWriter

_VALUES: Final = attrgetter(*QUANTITY_NAMES, "quality", "source")
_EDGE_HOURS: Final = (
    "SELECT min(hour_utc_ms), max(hour_utc_ms) FROM touched_hour WHERE pump_id = ? AND has_reading = 1"
)


def open_store(url: str, busy_timeout_s: float = BUSY_TIMEOUT_S) -> Store:
    """Open the readings' database (``sqlite:///FILE``), made or migrated if need be.

    Raises
    ------
    StoreError
        With one line that names the file and what to do; the file is left as it was.
    """
    database = open_database(url, busy_timeout_s)
    try:
        bring_up_to_date(database, COLLECTOR)
        return Store(database)
    except BaseException:
        database.close()
        raise


class Store:
    """The readings of a site. Safe for several threads; several processes may share the file.

    Every method raises :class:`StoreError` with one line when the database cannot do what is asked.
    Times are milliseconds UTC; ranges include their start and exclude their end.
    """

    def __init__(self, database: Database) -> None:
        self.database = database
        self._names = PumpNames(database)
        self._writer = GroupWriter(database)

    def append(self, readings: Sequence[Reading]) -> int:
        """Keep readings and return how many were new, once they are on disk.

        The first reading of a pump at an instant stays; later ones of the same instant are not kept.
        """
        new = self._writer.write(lambda connection: self._insert(connection, readings))
        self._names.remember({reading.pump for reading in readings})
        return new

    def record_failures(self, failures: Sequence[PollFailure]) -> int:
        """Keep failed scans and return how many were new, once they are on disk."""
        return self._writer.write(lambda connection: self._insert_failures(connection, failures))

    def record_lines(self, quarters: Sequence[LineQuarter]) -> int:
        """Keep how buses were used and return how many counts were new; those of two months ago are dropped.

        The first count of a bus, unit and start stays.
        """
        return self._writer.write(lambda connection: insert_quarters(connection, quarters))

    def _insert(self, connection: Connection, readings: Sequence[Reading]) -> int:
        ids = self._names.ids(connection, {reading.pump for reading in readings})
        rows = [(reading.time_utc_ms, ids[reading.pump], *_VALUES(reading)) for reading in readings]
        new = insert_or_keep(connection, READING, rows)
        if new:
            touch(connection, {(row[1], hour_of(row[0])) for row in rows}, has_reading=True)
        return new

    def _insert_failures(self, connection: Connection, failures: Sequence[PollFailure]) -> int:
        ids = self._names.ids(connection, {failure.pump for failure in failures})
        rows = [(each.time_utc_ms, ids[each.pump], str(each.kind), each.sentence) for each in failures]
        new = insert_or_keep(connection, POLL_FAILURE, rows)
        if new:
            touch(connection, {(row[1], hour_of(row[0])) for row in rows}, has_reading=False)
        return new

    def pump_names(self) -> tuple[str, ...]:
        """Return the pumps that anything was ever kept of, by name."""
        with self.database.reading() as connection:
            return tuple(name for (name,) in fetch(connection, "SELECT name FROM pump ORDER BY name"))

    def rows(
        self, pump: str, start_utc_ms: int, end_utc_ms: int, columns: Sequence[str] = QUANTITY_NAMES
    ) -> list[tuple[Any, ...]]:
        """Return ``(time_utc_ms, *columns)`` of each reading in the range, times ascending.

        ``columns`` are quantity names, ``quality`` or ``source``. A quantity without a good value is
        ``None``.
        An unknown pump has no rows.

        Raises
        ------
        KeyError
            When a column is neither.
        """
        names = ", ".join(READING.columns[name].name for name in ("time_utc_ms", *columns))
        statement = (
            f"SELECT {names} FROM reading WHERE time_utc_ms >= ? AND time_utc_ms < ? AND pump_id = ?"
            " ORDER BY time_utc_ms"
        )
        with self.database.reading() as connection:
            pump_id = self._names.id_of(connection, pump)
            return [] if pump_id is None else fetch(connection, statement, start_utc_ms, end_utc_ms, pump_id)

    def latest(self, pump: str) -> Reading | None:
        """Return the newest reading of a pump, ``None`` when there is none."""
        span = self.span(pump)
        if span is None:
            return None
        names = (*QUANTITY_NAMES, "quality", "source")
        (row,) = self.rows(pump, span[1], span[1] + 1, names)
        values = dict(zip(names, row[1:], strict=True))
        return Reading(pump=pump, time_utc_ms=row[0], **{**values, "source": Source(values["source"])})

    def span(self, pump: str) -> tuple[int, int] | None:
        """Return the times of a pump's first and newest reading, ``None`` when there is none."""
        with self.database.reading() as connection:
            pump_id = self._names.id_of(connection, pump)
            if pump_id is None:
                return None
            ((first, last),) = fetch(connection, _EDGE_HOURS, pump_id)
            if first is None:
                return None
            return self._edge(connection, pump_id, first, "min"), self._edge(connection, pump_id, last, "max")

    @staticmethod
    def _edge(connection: Connection, pump_id: int, hour: int, which: str) -> int:
        statement = (
            f"SELECT {which}(time_utc_ms) FROM reading"
            " WHERE time_utc_ms >= ? AND time_utc_ms < ? AND pump_id = ?"
        )
        return int(fetch(connection, statement, hour, hour + HOUR_MS, pump_id)[0][0])

    def failures(self, pump: str, start_utc_ms: int, end_utc_ms: int) -> list[PollFailure]:
        """Return a pump's failed scans in the range, times ascending."""
        statement = (
            "SELECT time_utc_ms, kind, sentence FROM poll_failure"
            " WHERE time_utc_ms >= ? AND time_utc_ms < ? AND pump_id = ? ORDER BY time_utc_ms"
        )
        with self.database.reading() as connection:
            found = fetch(
                connection, statement, start_utc_ms, end_utc_ms, self._names.id_of(connection, pump)
            )
        return [
            PollFailure(pump=pump, time_utc_ms=time, kind=FailureKind(kind), sentence=sentence)
            for time, kind, sentence in found
        ]

    def lines(self, start_utc_ms: int, end_utc_ms: int, bus: str | None = None) -> list[LineQuarter]:
        """Return how buses were used, the counts that begin in the range, of one bus or all, oldest first."""
        with self.database.reading() as connection:
            return quarters_between(connection, start_utc_ms, end_utc_ms, bus)

    def line_sums(
        self, start_utc_ms: int, end_utc_ms: int, step_ms: int, bus: str | None = None
    ) -> list[LineQuarter]:
        """Return how buses were used, added up by unit and step of ``step_ms``, the oldest step first."""
        with self.database.reading() as connection:
            return summed_between(connection, start_utc_ms, end_utc_ms, step_ms, bus)

    def touched_hours(self, since_mark: int = 0) -> Touched:
        """Return the hours that changed after a mark (0: all), and the mark to ask with next time.

        The newest hour of each pump is always among them, as it may still be filling. Hours in which only
        scans failed count too.
        """
        with self.database.reading() as connection:
            return touched_since(connection, since_mark)

    @contextmanager
    def importing(self, pump: str) -> Iterator[Callable[[str], ImportSession]]:
        """Give what makes a session from a file's name, for one file after the other.

        All rows of all files are kept at the end, or none if anything goes wrong before it. Other writers
        wait meanwhile; readers see the state before.
        """
        with self._writer.alone() as connection:
            (pump_id,) = self._names.ids(connection, [pump]).values()
            yield partial(ImportSession, connection, pump_id)

    def undo_import(self, import_id: int, time_utc_ms: int) -> Undone:
        """Take back what an import brought, once that is on disk; ``time_utc_ms`` is now.

        Raises
        ------
        CannotUndo
            When there is no such import, it was undone before, or is too old for it. Nothing is changed.
        """
        with self._writer.alone() as connection:
            return undo_import(connection, import_id, time_utc_ms)

    def imports(self) -> list[ImportRecord]:
        """Return what was imported, oldest first."""
        with self.database.reading() as connection:
            return import_records(connection)

    def set_aside(self, import_id: int) -> list[SetAside]:
        """Return the lines of an import that gave no reading, as they stood in the file."""
        with self.database.reading() as connection:
            return set_aside_lines(connection, import_id)

    def as_sink(self) -> StoreSink:
        """Return the place where polling puts what it reads."""
        return StoreSink(self)

    def close(self) -> None:
        """Close the file."""
        self.database.close()


class StoreSink:
    """Keeps what polling reads; each call returns once it is on disk, or raises :class:`StoreError`."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def append(self, readings: Sequence[Reading]) -> None:
        """Keep the readings of a scan."""
        self._store.append(readings)

    def failed(self, failures: Sequence[PollFailure]) -> None:
        """Keep the failures of a scan."""
        self._store.record_failures(failures)

    def counted(self, quarters: Sequence[LineQuarter]) -> None:
        """Keep how a bus was used."""
        self._store.record_lines(quarters)
