"""The door to what is derived or decided. One transaction is one step of analysis, whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, delete, func, insert, select

from api.analytics.facts import ServiceEvent
from api.store import findings, hour_rows
from api.store.field_checks import FieldCheck, StoredFieldCheck, read_field_checks, write_field_check
from api.store.held_days import StoredHeld, read_held
from api.store.service_events import ServiceRecord, read_records, that_stand, write_record
from api.store.stored_finding import FindingChange, State, StoredFinding
from api.store.tables import ANALYSIS_MARK, CURVE, HOUR_ROW
from collector.store.database import Database, open_database
from collector.store.migrate import Schema, bring_up_to_date

if TYPE_CHECKING:
    import pandas as pd

END_OF_TIME_MS: Final = 2**62

SCHEMA: Final = Schema(
    folder=Path(__file__).parent / "migrations",
    version_table="api_version",
    revisions=("0001", "0002", "0003", "0004", "0005", "0006"),
)


def open_api_store(url: str) -> ApiStore:
    """Open (and create or bring up to date) the derived tables in the database at this URL.

    Raises
    ------
    StoreError
        With one line that names the file and what to do; the file is left as it was.
    """
    database = open_database(url)
    try:
        bring_up_to_date(database, SCHEMA)
    except BaseException:
        database.close()
        raise
    return ApiStore(database)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredCurve:
    """A pump's own curve as plain values; ``is_full`` once no later reading can change it."""

    baseline_from_utc_ms: int
    document: dict[str, Any]
    is_full: bool


class ApiStore:
    """Reads of what is derived or decided; writes go through :meth:`write`."""

    def __init__(self, database: Database) -> None:
        self.database = database

    def close(self) -> None:
        """Close every connection."""
        self.database.close()

    def write(self) -> AbstractContextManager[Connection]:
        """Give a connection whose changes are committed together at the end, or not at all."""
        return self.database.writing()

    def mark(self, name: str) -> str | None:
        """Return a mark of analysis, ``None`` before the first."""
        with self.database.reading() as connection:
            return connection.execute(
                select(ANALYSIS_MARK.c.value).where(ANALYSIS_MARK.c.name == name)
            ).scalar()

    def hours(self, pump: str, start_utc_ms: int = 0, end_utc_ms: int = END_OF_TIME_MS) -> pd.DataFrame:
        """Return a pump's hour rows (index ``hour_utc_ms``) from start up to end (exclusive)."""
        with self.database.reading() as connection:
            return hour_rows.read_hours(connection, pump, start_utc_ms, end_utc_ms)

    def last_hour(self, pump: str) -> int | None:
        """Return the newest hour row of a pump [ms UTC]."""
        query = select(func.max(HOUR_ROW.c.hour_utc_ms)).where(HOUR_ROW.c.pump == pump)
        with self.database.reading() as connection:
            return connection.execute(query).scalar()

    def curve(self, pump: str, baseline_from_utc_ms: int) -> StoredCurve | None:
        """Return the curve of the baseline that may begin at this time."""
        query = select(CURVE).where(
            CURVE.c.pump == pump, CURVE.c.baseline_from_utc_ms == baseline_from_utc_ms
        )
        with self.database.reading() as connection:
            row = connection.execute(query).first()
        if row is None:
            return None
        return StoredCurve(
            baseline_from_utc_ms=baseline_from_utc_ms,
            document=json.loads(row.document),
            is_full=row.is_full,
        )

    def held(self, pump: str) -> StoredHeld | None:
        """Return what analysis holds of a pump's earlier days."""
        with self.database.reading() as connection:
            return read_held(connection, pump)

    def events(self, pump: str) -> tuple[ServiceEvent, ...]:
        """Return what people did to a pump, oldest first, without what was taken back."""
        return tuple(record.event for record in self.service_log(pump))

    def service_log(self, pump: str) -> tuple[ServiceRecord, ...]:
        """Return what people did to a pump, by whom and with their notes, oldest first, as it holds."""
        return that_stand(self.service_history(pump))

    def service_history(self, pump: str) -> tuple[ServiceRecord, ...]:
        """Return every entry of a pump's log, oldest first, mistaken ones and those that take them back."""
        with self.database.reading() as connection:
            return read_records(connection, pump)

    def add_event(self, pump: str, event: ServiceEvent, role: str, note: str = "") -> None:
        """Note what a person did to a pump."""
        self.add_record(pump, ServiceRecord(event=event, by_role=role, note=note))

    def add_record(self, pump: str, record: ServiceRecord) -> int:
        """Write an entry of a pump's log, whatever it says, and return its number."""
        with self.write() as connection:
            return write_record(connection, pump, record)

    def field_checks(self, pump: str) -> tuple[StoredFieldCheck, ...]:
        """Return what people measured at a pump, oldest first, corrected checks as well."""
        with self.database.reading() as connection:
            return read_field_checks(connection, pump)

    def add_field_check(self, pump: str, check: FieldCheck) -> int:
        """Keep a field check and return its number."""
        with self.write() as connection:
            return write_field_check(connection, pump, check)

    def findings(
        self,
        pump: str | None = None,
        states: Sequence[State] | None = None,
        limit: int | None = None,
    ) -> list[StoredFinding]:
        """Return findings, newest first, of one pump or all, in these states or all."""
        with self.database.reading() as connection:
            return findings.read_findings(connection, pump=pump, states=states, limit=limit)

    def finding(self, finding_id: int) -> StoredFinding | None:
        """Return the finding of this number."""
        with self.database.reading() as connection:
            return next(iter(findings.read_findings(connection, finding_id=finding_id)), None)

    def changes(self, finding_id: int) -> list[FindingChange]:
        """Return a finding's history, oldest first."""
        with self.database.reading() as connection:
            return findings.read_changes(connection, finding_id)

    def acknowledge(self, finding_id: int, at_utc_ms: int, role: str, note: str = "") -> bool:
        """Note that somebody has seen a finding; the first one stays. False when there is none."""
        with self.write() as connection:
            return findings.acknowledge(connection, finding_id, at_utc_ms, role, note)


def write_mark(connection: Connection, name: str, value: str) -> None:
    """Write a mark in the transaction that holds what it marks."""
    connection.execute(delete(ANALYSIS_MARK).where(ANALYSIS_MARK.c.name == name))
    connection.execute(insert(ANALYSIS_MARK).values(name=name, value=value))


def write_curve(connection: Connection, pump: str, curve: StoredCurve, learned_utc_ms: int) -> None:
    """Write the curve of a baseline. It replaces one that is not full; a full one stays (StoreError)."""
    connection.execute(
        delete(CURVE).where(
            CURVE.c.pump == pump,
            CURVE.c.baseline_from_utc_ms == curve.baseline_from_utc_ms,
            CURVE.c.is_full.is_(False),
        )
    )
    connection.execute(
        insert(CURVE).values(
            pump=pump,
            baseline_from_utc_ms=curve.baseline_from_utc_ms,
            learned_utc_ms=learned_utc_ms,
            is_full=curve.is_full,
            document=json.dumps(curve.document, separators=(",", ":")),
        )
    )
