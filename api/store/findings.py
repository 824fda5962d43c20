"""Findings on disk, with their history."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Final

from sqlalchemy import Connection, Row, insert, or_, select, update

from api.analytics.finding import Finding
from api.store.stored_finding import (
    Change,
    FindingChange,
    FindingUpdate,
    State,
    StoredFinding,
    finding_document,
    finding_of,
)
from api.store.tables import FINDING, FINDING_CHANGE

ANALYSIS_ROLE: Final = "analysis"


def write_updates(connection: Connection, updates: Iterable[FindingUpdate], at_utc_ms: int) -> None:
    """Write new and changed findings and append their changes to the history."""
    for item in updates:
        values = _values(item.finding, item.state)
        if item.stored is None:
            done = connection.execute(insert(FINDING).values(values))
            finding_id = int(done.inserted_primary_key[0])  # type: ignore[index]  # An insert has one.
        else:
            finding_id = item.stored.finding_id
            connection.execute(update(FINDING).where(FINDING.c.finding_id == finding_id).values(values))
        for what in item.changes:
            _remember(connection, finding_id, at_utc_ms, what, ANALYSIS_ROLE)


def acknowledge(connection: Connection, finding_id: int, at_utc_ms: int, role: str, note: str = "") -> bool:
    """Note that somebody has seen a finding; the first acknowledgement stays. False if there is none."""
    row = connection.execute(select(FINDING).where(FINDING.c.finding_id == finding_id)).first()
    if row is None:
        return False
    if row.acknowledged_utc_ms is None:
        connection.execute(
            update(FINDING)
            .where(FINDING.c.finding_id == finding_id)
            .values(acknowledged_utc_ms=at_utc_ms, acknowledged_by=role)
        )
        _remember(connection, finding_id, at_utc_ms, Change.ACKNOWLEDGED, role, note)
    return True


def read_findings(
    connection: Connection,
    pump: str | None = None,
    states: Sequence[State] | None = None,
    finding_id: int | None = None,
    limit: int | None = None,
    seen_since_utc_ms: int = 0,
) -> list[StoredFinding]:
    """Return findings, newest first, of one pump or all, in these states or all.

    With ``seen_since_utc_ms`` those alone that were seen since, or still stand.
    """
    query = select(FINDING).order_by(FINDING.c.first_utc_ms.desc(), FINDING.c.finding_id.desc())
    if pump is not None:
        query = query.where(FINDING.c.pump == pump)
    if states is not None:
        query = query.where(FINDING.c.state.in_([str(state) for state in states]))
    if finding_id is not None:
        query = query.where(FINDING.c.finding_id == finding_id)
    if seen_since_utc_ms:
        query = query.where(or_(FINDING.c.last_utc_ms >= seen_since_utc_ms, FINDING.c.state == State.ACTIVE))
    return [_stored(row) for row in connection.execute(query.limit(limit) if limit else query)]


def read_changes(connection: Connection, finding_id: int) -> list[FindingChange]:
    """Return the history of a finding, oldest first."""
    rows = connection.execute(
        select(FINDING_CHANGE)
        .where(FINDING_CHANGE.c.finding_id == finding_id)
        .order_by(FINDING_CHANGE.c.change_id)
    )
    return [
        FindingChange(at_utc_ms=row.at_utc_ms, what=row.what, by_role=row.by_role, note=row.note)
        for row in rows
    ]


def _values(finding: Finding, state: State) -> dict[str, Any]:
    return {
        "pump": finding.pump,
        "kind": str(finding.kind),
        "first_utc_ms": finding.first_utc_ms,
        "last_utc_ms": finding.last_utc_ms,
        "state": str(state),
        "priority": str(finding.priority),
        "document": finding_document(finding),
    }


def _remember(
    connection: Connection, finding_id: int, at_utc_ms: int, what: str, role: str, note: str = ""
) -> None:
    connection.execute(
        insert(FINDING_CHANGE).values(
            finding_id=finding_id, at_utc_ms=at_utc_ms, what=what, by_role=role, note=note
        )
    )


def _stored(row: Row[Any]) -> StoredFinding:
    return StoredFinding(
        finding_id=row.finding_id,
        finding=finding_of(row),
        state=State(row.state),
        acknowledged_utc_ms=row.acknowledged_utc_ms,
        acknowledged_by=row.acknowledged_by,
    )
