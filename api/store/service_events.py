"""The service log on disk. It is truth: never changed and never deleted; another entry takes one back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Row, insert, select

from api.analytics.facts import ServiceEvent
from api.store.tables import SERVICE_EVENT

WITHDRAWN: Final = "withdrawn"
"""The kind of an entry that takes another back; its time is when that was said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceRecord:
    """An entry of a pump's service log: what was done, by which role, and what they wrote beside it.

    ``finding_id`` is the finding that the work answers, where a person named one; ``withdraws`` the number of
    the mistaken entry that this one takes back. ``event_id`` is 0 before it is written.
    """

    event: ServiceEvent
    by_role: str
    note: str
    event_id: int = 0
    finding_id: int | None = None
    withdraws: int | None = None


def write_record(connection: Connection, pump: str, record: ServiceRecord) -> int:
    """Write an entry and return its number."""
    done = connection.execute(
        insert(SERVICE_EVENT).values(
            pump=pump,
            time_utc_ms=record.event.time_utc_ms,
            kind=record.event.kind,
            new_baseline=record.event.new_baseline,
            by_role=record.by_role,
            note=record.note,
            finding_id=record.finding_id,
            withdraws=record.withdraws,
        )
    )
    return int(done.inserted_primary_key[0])  # type: ignore[index]  # An insert has one.


def read_records(connection: Connection, pump: str) -> tuple[ServiceRecord, ...]:
    """Return every entry of a pump's log, oldest first, mistaken ones and those that take them back too."""
    rows = connection.execute(
        select(SERVICE_EVENT)
        .where(SERVICE_EVENT.c.pump == pump)
        .order_by(SERVICE_EVENT.c.time_utc_ms, SERVICE_EVENT.c.event_id)
    )
    return tuple(_record(row) for row in rows)


def that_stand(records: Sequence[ServiceRecord]) -> tuple[ServiceRecord, ...]:
    """Return the entries that hold: without those taken back, and without what took them back."""
    gone = {record.withdraws for record in records}
    return tuple(record for record in records if record.withdraws is None and record.event_id not in gone)


def _record(row: Row[Any]) -> ServiceRecord:
    return ServiceRecord(
        event=ServiceEvent(time_utc_ms=row.time_utc_ms, kind=row.kind, new_baseline=row.new_baseline),
        by_role=row.by_role,
        note=row.note,
        event_id=row.event_id,
        finding_id=row.finding_id,
        withdraws=row.withdraws,
    )
