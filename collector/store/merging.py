"""Rows of a file on top of what is stored: a missing value is filled, a value that is there stands."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from operator import is_not
from typing import Any, Final

from sqlalchemy import Connection

from collector.quantities import QUANTITY_NAMES
from collector.reading import Source, pack_quality, unpack_quality
from collector.store.dialect import fetch, marks

Row = tuple[Any, ...]
"""In the column order of the reading table: time, pump_id, quantities, quality, source."""

VALUES: Final = slice(2, 2 + len(QUANTITY_NAMES))
QUALITY: Final = VALUES.stop
SOURCE: Final = QUALITY + 1
SAME: Final = 1e-6
"""Relative: a value that took another way through units is still the same value."""
_AT_ONCE: Final = 900
"""Below the 999 parameters that the oldest drivers take."""
_NOTHING: Final = (None,) * len(QUANTITY_NAMES)


@dataclass(slots=True, kw_only=True)
class Merged:
    """What comes of a batch: rows by time as they shall be, ``before`` those of them that were stored.

    ``same`` and ``contradicting`` count rows that change nothing, ``completing`` those that fill values.
    ``compared`` had a value in common with what was there. ``beside_polled`` would have filled values of a
    reading that we took from the drive ourselves.
    """

    before: dict[int, Row]
    new: dict[int, Row] = field(default_factory=dict)
    completed: dict[int, Row] = field(default_factory=dict)
    same: int = 0
    completing: int = 0
    contradicting: int = 0
    compared: int = 0
    beside_polled: int = 0

    def add(self, row: Row) -> None:
        """Take in one row of the file."""
        time_utc_ms = row[0]
        there = self.new.get(time_utc_ms) or self.completed.get(time_utc_ms) or self.before.get(time_utc_ms)
        if there is None:
            self.new[time_utc_ms] = row
            return
        pairs = list(zip(there[VALUES], row[VALUES], strict=True))
        common = [(one, other) for one, other in pairs if one is not None and other is not None]
        self.compared += bool(common)
        if any(_differ(one, other) for one, other in common):
            # Its instant or its pump may be another one, so its other values are not to be trusted either.
            self.contradicting += 1
        elif not any(one is None and other is not None for one, other in pairs):
            self.same += 1
        elif there[SOURCE] != Source.IMPORTED:
            # A value measured elsewhere must not pass for one that the drive told us.
            self.beside_polled += 1
        else:
            self.completing += 1
            place = self.new if time_utc_ms in self.new else self.completed
            place[time_utc_ms] = completed(there, row)


def merge(connection: Connection, pump_id: int, rows: Sequence[Row]) -> Merged:
    """Return what comes of the rows of one pump; nothing is written."""
    merged = Merged(before=stored_rows(connection, pump_id, [row[0] for row in rows]))
    for row in rows:
        merged.add(row)
    return merged


def stored_rows(connection: Connection, pump_id: int, times: Sequence[int]) -> dict[int, Row]:
    """Return the stored rows of a pump at these instants [ms UTC], by instant."""
    names = f"time_utc_ms, pump_id, {', '.join(QUANTITY_NAMES)}, quality, source"
    found: dict[int, Row] = {}
    for start in range(0, len(times), _AT_ONCE):
        some = times[start : start + _AT_ONCE]
        statement = (
            f"SELECT {names} FROM reading WHERE pump_id = ?"
            f" AND time_utc_ms IN ({marks(connection, len(some))})"
        )
        found.update((row[0], row) for row in fetch(connection, statement, pump_id, *some))
    return found


def completed(there: Row, row: Row) -> Row:
    """Return the stored row with the values, and the reasons for their absence, that it has none of yet."""
    values = [other if one is None else one for one, other in zip(there[VALUES], row[VALUES], strict=True)]
    quality = _quality(values, (there[QUALITY], row[QUALITY]))
    return (*there[: VALUES.start], *values, quality, *there[SOURCE:])


def _quality(values: Iterable[Any], told: tuple[int, int]) -> int:
    if not any(told):
        return 0
    first, second = map(unpack_quality, told)
    return pack_quality(
        {
            name: first[name] or second[name]
            for name, value in zip(QUANTITY_NAMES, values, strict=True)
            if value is None
        }
    )


def has_values(row: Row) -> bool:
    """Return whether a row has any value."""
    return any(map(is_not, row[VALUES], _NOTHING))


def rewrite(connection: Connection, rows: Iterable[Row]) -> None:
    """Put rows in the place of those stored at their instants."""
    one = marks(connection, 1)
    names = ", ".join(f"{name} = {one}" for name in (*QUANTITY_NAMES, "quality"))
    changed = [(*row[VALUES], row[QUALITY], row[0], row[1]) for row in rows]
    if changed:
        connection.exec_driver_sql(
            f"UPDATE reading SET {names} WHERE time_utc_ms = {one} AND pump_id = {one}", changed
        )


def _differ(one: float, other: float) -> bool:
    return one != other and not math.isclose(one, other, rel_tol=SAME, abs_tol=SAME)
