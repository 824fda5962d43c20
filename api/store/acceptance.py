"""Which learned curve a person accepted as the pump's own, when and by which role."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Select, insert, select

from api.store.api_store import ApiStore
from api.store.tables import BASELINE_ACCEPTANCE, CURVE


@dataclass(frozen=True, slots=True, kw_only=True)
class Acceptance:
    """A curve that was accepted; ``is_of_this_curve`` is false once the stored one is another."""

    pump: str
    baseline_from_utc_ms: int
    accepted_utc_ms: int
    by_role: str
    note: str
    is_of_this_curve: bool


def acceptance_of(store: ApiStore, pump: str, baseline_from_utc_ms: int) -> Acceptance | None:
    """Return who accepted the curve of a baseline last, ``None`` while nobody did."""
    newest_first = (
        _of_baseline(pump, baseline_from_utc_ms)
        .order_by(BASELINE_ACCEPTANCE.c.accepted_utc_ms.desc())
        .limit(1)
    )
    with store.database.reading() as connection:
        row = connection.execute(newest_first).first()
        stored = _full_curve_sum(connection, pump, baseline_from_utc_ms)
    if row is None:
        return None
    return Acceptance(
        pump=row.pump,
        baseline_from_utc_ms=row.baseline_from_utc_ms,
        accepted_utc_ms=row.accepted_utc_ms,
        by_role=row.by_role,
        note=row.note,
        is_of_this_curve=row.curve_sha256 == stored,
    )


def accept_curve(
    store: ApiStore, pump: str, baseline_from_utc_ms: int, *, at_utc_ms: int, role: str, note: str = ""
) -> bool:
    """Record that a baseline's full curve is accepted; false where there is none, or it is accepted."""
    with store.write() as connection:
        curve = _full_curve_sum(connection, pump, baseline_from_utc_ms)
        same = _of_baseline(pump, baseline_from_utc_ms).where(BASELINE_ACCEPTANCE.c.curve_sha256 == curve)
        if curve is None or connection.execute(same).first() is not None:
            return False
        connection.execute(
            insert(BASELINE_ACCEPTANCE).values(
                pump=pump,
                baseline_from_utc_ms=baseline_from_utc_ms,
                curve_sha256=curve,
                accepted_utc_ms=at_utc_ms,
                by_role=role,
                note=note,
            )
        )
    return True


def _of_baseline(pump: str, baseline_from_utc_ms: int) -> Select[Any]:
    return select(BASELINE_ACCEPTANCE).where(
        BASELINE_ACCEPTANCE.c.pump == pump,
        BASELINE_ACCEPTANCE.c.baseline_from_utc_ms == baseline_from_utc_ms,
    )


def _full_curve_sum(connection: Connection, pump: str, baseline_from_utc_ms: int) -> str | None:
    query = select(CURVE.c.document).where(
        CURVE.c.pump == pump, CURVE.c.baseline_from_utc_ms == baseline_from_utc_ms, CURVE.c.is_full
    )
    text = connection.execute(query).scalar()
    return None if text is None else hashlib.sha256(text.encode()).hexdigest()
