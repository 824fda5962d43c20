"""Counts of how the buses were used: appended, read back, and dropped after some weeks."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

from sqlalchemy import Connection

from collector.line_quarter import REPLY_EDGES_S, LineQuarter
from collector.store.dialect import fetch, insert_or_keep, joined, marks
from collector.store.tables import LINE_QUARTER

KEPT_MS: Final = 60 * 86_400_000
"""Two months: a line is compared with itself before somebody worked on it, not with last year."""
_NAMES: Final = tuple(column.name for column in LINE_QUARTER.columns)
_SUMMED: Final = _NAMES[_NAMES.index("watched_s") : -1]
_BETWEEN: Final = ";"
_CLASSES: Final = len(REPLY_EDGES_S) + 1


def insert_quarters(connection: Connection, quarters: Sequence[LineQuarter]) -> int:
    """Keep counts, the first of a unit and start staying; drop what is too old; return how many were new."""
    rows = [_as_row(quarter) for quarter in quarters]
    new = insert_or_keep(connection, LINE_QUARTER, rows)
    if new:
        oldest = max(quarter.start_utc_ms for quarter in quarters) - KEPT_MS
        connection.exec_driver_sql(
            f"DELETE FROM line_quarter WHERE start_utc_ms < {marks(connection, 1)}", (oldest,)
        )
    return new


def quarters_between(
    connection: Connection, start_utc_ms: int, end_utc_ms: int, bus: str | None = None
) -> list[LineQuarter]:
    """Return the counts that begin in the range, of one bus or all, the oldest first."""
    statement = f"SELECT {', '.join(_NAMES)} FROM line_quarter WHERE start_utc_ms >= ? AND start_utc_ms < ?"
    of_bus = () if bus is None else (bus,)
    order = f"{' AND bus = ?' if of_bus else ''} ORDER BY start_utc_ms, bus, unit"
    return [
        LineQuarter(**dict(zip(_NAMES, row[:-1], strict=False)), reply_times=_classes(row[-1]))
        for row in fetch(connection, statement + order, start_utc_ms, end_utc_ms, *of_bus)
    ]


def summed_between(
    connection: Connection, start_utc_ms: int, end_utc_ms: int, step_ms: int, bus: str | None = None
) -> list[LineQuarter]:
    """Return the counts that begin in the range, added up by unit and step, the oldest step first.

    A step begins at a whole multiple of ``step_ms`` and is told up to the end of the last count in it. Added
    up where they lie: weeks of many units are a hundred thousand rows.
    """
    of_bus = () if bus is None else (bus,)
    sums = ", ".join(f"SUM({name})" for name in _SUMMED)
    statement = (
        f"SELECT bus, unit, MIN(start_utc_ms) / {step_ms:d} * {step_ms:d}, MAX(end_utc_ms), {sums}, "
        f"{joined(connection, 'reply_times', _BETWEEN)} "
        f"FROM line_quarter WHERE start_utc_ms >= ? AND start_utc_ms < ?{' AND bus = ?' if of_bus else ''} "
        f"GROUP BY start_utc_ms / {step_ms:d}, bus, unit ORDER BY start_utc_ms / {step_ms:d}, bus, unit"
    )
    names = ("bus", "unit", "start_utc_ms", "end_utc_ms", *_SUMMED)
    return [
        LineQuarter(**dict(zip(names, row[:-1], strict=True)), reply_times=_summed_classes(row[-1]))
        for row in fetch(connection, statement, start_utc_ms, end_utc_ms, *of_bus)
    ]


def _summed_classes(words: str) -> tuple[int, ...]:
    sums = [0] * _CLASSES
    for counts in words.split(_BETWEEN):
        for place, count in enumerate(counts.split(" ")):
            if count != "0":
                sums[place] += int(count)
    return tuple(sums)


def _as_row(quarter: LineQuarter) -> tuple[object, ...]:
    # Trailing classes without a reply are left out: most rows then take a few characters.
    words = " ".join(map(str, quarter.reply_times))
    while words.endswith(" 0"):
        words = words[:-2]
    return (*(getattr(quarter, name) for name in _NAMES[:-1]), words)


@lru_cache(maxsize=4096)
def _classes(words: str) -> tuple[int, ...]:
    counts = tuple(map(int, words.split()))
    return counts + (0,) * (_CLASSES - len(counts))
