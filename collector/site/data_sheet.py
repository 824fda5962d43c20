"""The maker's printed curve: as points in the site file, or as a CSV file beside it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Final

from pydantic import Field

from collector.site.fields import Positive
from collector.toml_file import Number, StrictTable, did_you_mean
from collector.trend_log.csv_file import CsvFile
from collector.trend_log.errors import TrendLogError
from collector.units import UNITS, Unit, unit_as_written, units_of

MOST_POINTS: Final = 500
"""Far more than a curve that is read off paper has (our own choice)."""
_BASES: Final = {"flow": "m3/h", "head": "m", "power": "W"}
_KEYS: Final = {"flow": "flow_m3h", "head": "head_m", "power": "power_w"}
_TITLE: Final = re.compile(r"([^:(\[]+?)\s*[:(\[]\s*([^)\]]*?)\s*[)\]]?")


class DataSheetError(Exception):
    """A data sheet that cannot be used: one line that names the file, the line and what was expected."""


class DataSheetPoint(StrictTable):
    """A point of the maker's printed curve at rated speed with water."""

    flow_m3h: Annotated[Number, Field(ge=0)]
    head_m: Annotated[Number, Field(ge=0)]
    power_w: Positive | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Column:
    """A column of the file: the ``place``-th from 0."""

    place: int
    name: str
    unit: Unit


def read_data_sheet(path: Path) -> tuple[DataSheetPoint, ...]:
    """Read a curve from a file with a header such as ``flow:gpm,head:ft,power:W``, in order of flow.

    Raises
    ------
    DataSheetError
        In one line. No line is left out in silence.
    """
    try:
        with CsvFile(path, expected="columns such as flow:gpm and head:ft") as file:
            points = _points(file)
    except TrendLogError as error:
        raise DataSheetError(str(error)) from error
    if len(points) < 2:
        raise DataSheetError(f"{path}: a curve needs at least two points below its header")
    return tuple(points[flow] for flow in sorted(points))


def _points(file: CsvFile) -> dict[float, DataSheetPoint]:
    columns = _columns(file)
    points: dict[float, DataSheetPoint] = {}
    for line, row in _rows(file):
        where = f"{file.path}, line {line}"
        if len(row) != len(file.header):
            raise DataSheetError(f"{where}: has {len(row)} cells, the header {len(file.header)}")
        point = _point(where, row, columns, comma=file.separator != ",")
        if point.flow_m3h in points:
            raise DataSheetError(f"{where}: there is a point at this flow already")
        if len(points) == MOST_POINTS:
            raise DataSheetError(f"{where}: more than {MOST_POINTS} points, so not a printed curve")
        points[point.flow_m3h] = point
    return points


def _rows(file: CsvFile) -> Iterator[tuple[int, list[str]]]:
    for batch in file.batches():
        for line, row in zip(batch.lines, batch.rows, strict=True):
            if any(cell.strip() for cell in row):
                yield line, row


def _columns(file: CsvFile) -> list[_Column]:
    columns: list[_Column] = []
    for place, title in enumerate(file.header):
        column = _column(f"{file.path}, line 1", place, title)
        if column.name in [each.name for each in columns]:
            raise DataSheetError(f"{file.path}, line 1: there are two columns of {column.name}")
        columns.append(column)
    missing = next((name for name in ("flow", "head") if name not in [c.name for c in columns]), None)
    if missing:
        raise DataSheetError(f"{file.path}, line 1: a column {missing} is missing, as in flow:gpm,head:ft")
    return columns


def _column(where: str, place: int, title: str) -> _Column:
    parts = _TITLE.fullmatch(title)
    name = (parts[1] if parts else title).strip().lower()
    if name not in _BASES:
        raise DataSheetError(f"{where}: unknown column {title!r}{did_you_mean(name, list(_BASES))}")
    known = units_of(_BASES[name])
    if parts is None or not parts[2]:
        raise DataSheetError(f"{where}: {title!r} needs its unit, as in {name}:{known[0]}")
    unit = unit_as_written(parts[2])
    if unit is None or UNITS[unit].base != _BASES[name]:
        raise DataSheetError(f"{where}: {parts[2]!r} is no unit of {name}{did_you_mean(parts[2], known)}")
    return _Column(place=place, name=name, unit=UNITS[unit])


def _point(where: str, row: list[str], columns: list[_Column], *, comma: bool) -> DataSheetPoint:
    values: dict[str, float] = {}
    for column in columns:
        cell = row[column.place].strip()
        if not cell and column.name == "power":
            continue
        value = _number(cell, comma=comma)
        if value is None or value < 0 or (column.name == "power" and value == 0):
            raise DataSheetError(f"{where}: {column.name} should be {_expected(column.name)}, not {cell!r}")
        values[_KEYS[column.name]] = value * column.unit.factor + column.unit.offset
    return DataSheetPoint.model_validate(values)


def _expected(name: str) -> str:
    return "a number above 0, or nothing" if name == "power" else "a number from 0 on"


def _number(cell: str, *, comma: bool) -> float | None:
    """Return a cell's number, ``None`` if it is none. With ``comma`` that may be its decimal sign.

    ``1,234`` could be a thousand and more: it is taken for no number rather than for a wrong one.

    >>> _number("12.5", comma=False), _number("12,5", comma=True), _number("1,234", comma=True)
    (12.5, 12.5, None)
    """
    form = r"-?\d+([.,]\d+)?" if comma else r"-?\d+(\.\d+)?"
    if not re.fullmatch(form, cell) or re.fullmatch(r"-?[1-9]\d{0,2},\d{3}", cell):
        return None
    return float(cell.replace(",", "."))
