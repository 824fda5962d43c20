"""What is held of a pump's earlier days, so that its next hour need not ask for them: one row a pump."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, delete, insert, select

from api.store.tables import HELD_DAYS


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredHeld:
    """What is held of the days before ``until_utc_ms``, as bytes; ``made_from`` says by which settings."""

    made_from: str
    until_utc_ms: int
    numbers: bytes


def read_held(connection: Connection, pump: str) -> StoredHeld | None:
    """Return what is held of a pump, ``None`` if nothing is."""
    row = connection.execute(select(HELD_DAYS).where(HELD_DAYS.c.pump == pump)).first()
    if row is None:
        return None
    return StoredHeld(made_from=row.made_from, until_utc_ms=row.until_utc_ms, numbers=row.numbers)


def write_held(connection: Connection, pump: str, held: StoredHeld | None) -> None:
    """Replace what is held of a pump; ``None`` holds nothing."""
    connection.execute(delete(HELD_DAYS).where(HELD_DAYS.c.pump == pump))
    if held is not None:
        connection.execute(
            insert(HELD_DAYS).values(
                pump=pump, made_from=held.made_from, until_utc_ms=held.until_utc_ms, numbers=held.numbers
            )
        )
