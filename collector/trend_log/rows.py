"""A batch of text rows to rows of the reading table, and those that give no reading."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import repeat
from typing import Any, Final

from collector.quantities import QUANTITY_NAMES
from collector.reading import Quality, Source, pack_quality
from collector.store import SetAside
from collector.trend_log.csv_file import Batch
from collector.trend_log.plan import Plan
from collector.trend_log.values import Cells

_LONGEST_TEXT: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnSeen:
    """What a column gave: of its ``cells``, how many were good, and the lines and texts of flawed ones."""

    cells: int
    good: int
    flaws: Counter[Quality]
    first: dict[Quality, tuple[int, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Parsed:
    """A batch read: ``readings`` in the column order of the reading table, and what each column gave.

    ``flaws`` counts the flawed cells of the rows that gave a reading.
    """

    readings: list[tuple[Any, ...]]
    set_aside: list[SetAside]
    flaws: Counter[Quality]
    columns: dict[str, ColumnSeen]


@dataclass(frozen=True, slots=True)
class _TimedRows:
    """Rows with a time, and those without one."""

    times: list[int]
    lines: list[int]
    rows: list[list[str]]
    set_aside: list[SetAside]


def parse(batch: Batch, plan: Plan, pump_id: int) -> Parsed:
    """Return what the rows of a batch say.

    Raises
    ------
    TrendLogError
        When a time has no offset and no time zone was stated: that goes for the whole file.
    """
    timed = _with_times(_with_width(batch, plan), plan)
    if not timed.rows:
        return Parsed(readings=[], set_aside=timed.set_aside, flaws=Counter(), columns={})
    columns = list(zip(*timed.rows, strict=True))
    cells = {reader.quantity.name: reader.read(columns[reader.place]) for reader in plan.columns}
    flaws = _flaws_by_row(cells)
    readings = _readings(timed.times, pump_id, cells, flaws)
    empty = sorted(place for place, row in flaws.items() if len(row) == len(plan.columns))
    without = [_aside(timed.lines[place], "no value in it can be used", timed.rows[place]) for place in empty]
    for place in reversed(empty):
        del readings[place]
    gone = set(empty)
    kept = Counter(quality for place, row in flaws.items() if place not in gone for quality in row.values())
    seen = {
        reader.header: _seen(columns[reader.place], cells[reader.quantity.name], timed.lines)
        for reader in plan.columns
    }
    return Parsed(readings=readings, set_aside=[*timed.set_aside, *without], flaws=kept, columns=seen)


def _seen(texts: Sequence[str], cells: Cells, lines: Sequence[int]) -> ColumnSeen:
    first: dict[Quality, tuple[int, str]] = {}
    for place in sorted(cells.flaws):
        first.setdefault(cells.flaws[place], (lines[place], texts[place]))
    return ColumnSeen(
        cells=len(texts),
        good=len(texts) - len(cells.flaws),
        flaws=Counter(cells.flaws.values()),
        first=first,
    )


def _with_width(batch: Batch, plan: Plan) -> _TimedRows:
    if set(map(len, batch.rows)) == {plan.width}:
        return _TimedRows([], batch.lines, batch.rows, [])
    good = [place for place, row in enumerate(batch.rows) if len(row) == plan.width]
    bad = [
        _aside(line, f"{len(row)} columns where the header has {plan.width}", row)
        for line, row in zip(batch.lines, batch.rows, strict=True)
        if len(row) != plan.width
    ]
    return _TimedRows([], [batch.lines[place] for place in good], [batch.rows[place] for place in good], bad)


def _with_times(untimed: _TimedRows, plan: Plan) -> _TimedRows:
    found = plan.times.read(plan.time_cells(untimed.rows))
    good = [place for place, time in enumerate(found) if isinstance(time, int)]
    bad = [
        _aside(line, time, row)
        for time, line, row in zip(found, untimed.lines, untimed.rows, strict=True)
        if isinstance(time, str)
    ]
    return _TimedRows(
        [time for time in found if isinstance(time, int)],
        [untimed.lines[place] for place in good],
        [untimed.rows[place] for place in good],
        [*untimed.set_aside, *bad],
    )


def _aside(line: int, reason: str, row: list[str]) -> SetAside:
    return SetAside(line=line, reason=reason, text=" | ".join(row)[:_LONGEST_TEXT])


def _flaws_by_row(cells: dict[str, Cells]) -> dict[int, dict[str, Quality]]:
    flaws: dict[int, dict[str, Quality]] = {}
    for name, column in cells.items():
        for place, quality in column.flaws.items():
            flaws.setdefault(place, {})[name] = quality
    return flaws


def _readings(
    times: list[int], pump_id: int, cells: dict[str, Cells], flaws: dict[int, dict[str, Quality]]
) -> list[tuple[Any, ...]]:
    qualities: Iterable[int] = repeat(0)
    if flaws:
        qualities = [pack_quality(flaws[place]) if place in flaws else 0 for place in range(len(times))]
    columns = [cells[name].values if name in cells else repeat(None) for name in QUANTITY_NAMES]
    # Only the times have an end; the repeated values go on for ever.
    together = zip(times, repeat(pump_id), *columns, qualities, repeat(int(Source.IMPORTED)), strict=False)
    return list(together)
