"""Field checks on disk. They are truth: never changed and never deleted, only corrected by a later one."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, insert, select

from api.store.tables import FIELD_CHECK


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldCheck:
    """A visit as it was recorded: its start, who made it, and in place of which earlier one it stands.

    ``typed`` is what was typed, by field; ``computed`` what was worked out of it and of the drive's readings
    of those minutes, which may be gone by now.
    """

    at_utc_ms: int
    recorded_utc_ms: int
    by_role: str
    note: str
    typed: Mapping[str, str]
    computed: Mapping[str, Any]
    corrects: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredFieldCheck:
    """A field check with its number; ``corrected_by`` is that of the one that stands in its place."""

    check_id: int
    check: FieldCheck
    corrected_by: int | None = None


def write_field_check(connection: Connection, pump: str, check: FieldCheck) -> int:
    """Append a field check and return its number."""
    done = connection.execute(
        insert(FIELD_CHECK).values(
            pump=pump,
            at_utc_ms=check.at_utc_ms,
            recorded_utc_ms=check.recorded_utc_ms,
            by_role=check.by_role,
            note=check.note,
            corrects=check.corrects,
            typed=json.dumps(dict(check.typed), separators=(",", ":")),
            computed=json.dumps(dict(check.computed), separators=(",", ":"), allow_nan=False),
        )
    )
    return int(done.inserted_primary_key[0])  # type: ignore[index]  # An insert has one.


def read_field_checks(connection: Connection, pump: str) -> tuple[StoredFieldCheck, ...]:
    """Return a pump's field checks by the time of the visit, oldest first, corrected ones as well."""
    rows = connection.execute(
        select(FIELD_CHECK)
        .where(FIELD_CHECK.c.pump == pump)
        .order_by(FIELD_CHECK.c.at_utc_ms, FIELD_CHECK.c.check_id)
    ).all()
    corrected = {row.corrects: row.check_id for row in rows if row.corrects is not None}
    return tuple(_stored(row, corrected.get(row.check_id)) for row in rows)


def _stored(row: Row[Any], corrected_by: int | None) -> StoredFieldCheck:
    check = FieldCheck(
        at_utc_ms=row.at_utc_ms,
        recorded_utc_ms=row.recorded_utc_ms,
        by_role=row.by_role,
        note=row.note,
        corrects=row.corrects,
        typed=json.loads(row.typed),
        computed=json.loads(row.computed),
    )
    return StoredFieldCheck(check_id=row.check_id, check=check, corrected_by=corrected_by)
