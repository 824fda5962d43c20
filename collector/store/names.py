"""Pump names and the numbers that stand for them in the tables."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from sqlalchemy import Connection

from collector.store.database import Database
from collector.store.dialect import fetch, marks


@dataclass(slots=True)
class PumpNames:
    """Remembers numbers that are on disk: a number given in a transaction that failed is forgotten."""

    database: Database
    _known: dict[str, int] = field(default_factory=dict)

    def ids(self, connection: Connection, names: Iterable[str]) -> dict[str, int]:
        """Return the number of each name within a writing transaction; new names are given one."""
        return {name: self._known.get(name) or self._find_or_give(connection, name) for name in names}

    def remember(self, names: Iterable[str]) -> None:
        """Look up names that were just committed, so that the next transaction need not."""
        unknown = [name for name in names if name not in self._known]
        if unknown:
            with self.database.reading() as connection:
                for name in unknown:
                    self.id_of(connection, name)

    def id_of(self, connection: Connection, name: str) -> int | None:
        """Return the number of a name, ``None`` when nothing was ever kept of it."""
        if name not in self._known:
            for (pump_id,) in fetch(connection, "SELECT pump_id FROM pump WHERE name = ?", name):
                # Seen by a reader, so it is committed and will stay.
                self._known[name] = pump_id
        return self._known.get(name)

    @staticmethod
    def _find_or_give(connection: Connection, name: str) -> int:
        statement = f"INSERT INTO pump (name) VALUES ({marks(connection, 1)}) ON CONFLICT DO NOTHING"
        connection.exec_driver_sql(statement, (name,))
        return int(fetch(connection, "SELECT pump_id FROM pump WHERE name = ?", name)[0][0])
