"""Which hours of which pump have changed, so that analysis looks again at those and no others.

The journal has one row an hour of a pump, with the mark of the commit that touched it. Readings that
arrive in order would rewrite that row at every scan and double the bytes written, so the newest hour of
a pump is journaled once, and every answer includes the hour that was newest at the asker's mark.

Why nothing is missed: let a reading of hour ``h`` be committed after mark ``m``. If it was journaled its
mark is above ``m``. If not, ``h`` was the pump's newest hour and its row stood already: either with a mark
above ``m``, or it is still the newest among the rows at or below ``m``, since every later hour came later.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from sqlalchemy import Connection

from collector.store.dialect import fetch, marks

HOUR_MS: Final = 3_600_000

_NEWEST: Final = (
    "SELECT hour_utc_ms, has_reading FROM touched_hour WHERE pump_id = ? ORDER BY hour_utc_ms DESC LIMIT 1"
)
_SINCE: Final = (
    "SELECT pump.name, hour_utc_ms FROM touched_hour JOIN pump ON pump.pump_id = touched_hour.pump_id"
    " WHERE mark > ?"
)
_OPEN_AT: Final = (
    "SELECT hour_utc_ms FROM touched_hour WHERE pump_id = ? AND mark <= ? ORDER BY hour_utc_ms DESC LIMIT 1"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Touched:
    """What changed since an earlier mark: pass ``mark`` at the next question.

    ``hours`` maps each pump to the starts of its touched UTC hours [ms], ascending.
    """

    mark: int
    hours: dict[str, list[int]] = field(default_factory=dict)


def hour_of(time_utc_ms: int) -> int:
    """Return the start of the UTC hour [ms].

    >>> hour_of(7_200_001)
    7200000
    """
    return time_utc_ms - time_utc_ms % HOUR_MS


def touch(connection: Connection, hours: Iterable[tuple[int, int]], *, has_reading: bool) -> None:
    """Journal that these (pump_id, hour_utc_ms) changed, within the caller's transaction."""
    needed = [(pump_id, hour) for pump_id, hour in hours if _is_news(connection, pump_id, hour, has_reading)]
    if not needed:
        return
    mark = _last_mark(connection) + 1
    statement = (
        "INSERT INTO touched_hour (pump_id, hour_utc_ms, mark, has_reading)"
        f" VALUES ({marks(connection, 4)}) ON CONFLICT (pump_id, hour_utc_ms) DO UPDATE SET"
        " mark = excluded.mark,"
        " has_reading = CASE WHEN excluded.has_reading > touched_hour.has_reading"
        " THEN excluded.has_reading ELSE touched_hour.has_reading END"
    )
    rows = [(pump_id, hour, mark, int(has_reading)) for pump_id, hour in sorted(needed)]
    connection.exec_driver_sql(statement, rows)


def touch_again(connection: Connection, pump_id: int, hours: Iterable[int]) -> None:
    """Journal that hours of a pump lost readings or values, within the caller's transaction.

    The newest hour too: it may have no reading left, and no later one will say so.
    """
    mark = _last_mark(connection) + 1
    one = marks(connection, 1)
    statement = (
        f"UPDATE touched_hour SET mark = {one}, has_reading = EXISTS (SELECT 1 FROM reading"
        f" WHERE time_utc_ms >= {one} AND time_utc_ms < {one} AND pump_id = {one})"
        f" WHERE pump_id = {one} AND hour_utc_ms = {one}"
    )
    rows = [(mark, hour, hour + HOUR_MS, pump_id, pump_id, hour) for hour in sorted(hours)]
    if rows:
        connection.exec_driver_sql(statement, rows)


def _is_news(connection: Connection, pump_id: int, hour: int, has_reading: bool) -> bool:
    newest = fetch(connection, _NEWEST, pump_id)
    return not newest or newest[0][0] != hour or newest[0][1] < has_reading


def _last_mark(connection: Connection) -> int:
    return int(fetch(connection, "SELECT coalesce(max(mark), 0) FROM touched_hour")[0][0])


def touched_since(connection: Connection, mark: int) -> Touched:
    """Return what changed after this mark, and the hour of each pump that was still filling at it."""
    found: dict[str, set[int]] = {}
    for name, hour in fetch(connection, _SINCE, mark):
        found.setdefault(name, set()).add(hour)
    for pump_id, name in fetch(connection, "SELECT pump_id, name FROM pump"):
        for (hour,) in fetch(connection, _OPEN_AT, pump_id, mark):
            found.setdefault(name, set()).add(hour)
    return Touched(
        mark=_last_mark(connection), hours={name: sorted(hours) for name, hours in sorted(found.items())}
    )
