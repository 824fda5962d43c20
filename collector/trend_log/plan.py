"""Which column of a file is what: settled once from its header, then applied to every row."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, tzinfo
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from collector.quantities import QUANTITY_NAMES, quantity
from collector.toml_file import did_you_mean
from collector.trend_log.csv_file import CsvFile
from collector.trend_log.errors import TrendLogError
from collector.trend_log.options import ColumnChoice, Decimal, ImportOptions
from collector.trend_log.times import TimeReader, must_be_a_form
from collector.trend_log.values import ColumnReader
from collector.units import UNITS, Unit, units_of

UTC_COLUMNS: Final = frozenset(
    {
        "time_utc",
        "time utc",
        "time (utc)",
        "utc",
        "utc time",
        "timestamp_utc",
        "timestamp utc",
        "timestamp (utc)",
    }
)
"""Headers that say themselves that their times are UTC."""
TIME_COLUMNS: Final = frozenset(
    {
        "time",
        "timestamp",
        "time stamp",
        "date",
        "datetime",
        "date time",
        "date_time",
        "date/time",
        "time_stamp",
    }
)
_COMMA_IS_DECIMAL: Final = re.compile(
    r"[-+]?(\d+,(\d{1,2}|\d{4,})|\d{4,},\d{3}|0,\d+|\d{1,3}(\.\d{3})+,\d*|\d{1,3}(\.\d{3}){2,})"
)
_POINT_IS_DECIMAL: Final = re.compile(
    r"[-+]?(\d*\.(\d{1,2}|\d{4,})|\d{4,}\.\d{3}|0?\.\d+|\d{1,3}(,\d{3})+\.\d*|\d{1,3}(,\d{3}){2,})"
)
_COMMA_MAY_BE_EITHER: Final = re.compile(r"[-+]?[1-9]\d{0,2},\d{3}")
_POINT_MAY_BE_EITHER: Final = re.compile(r"[-+]?[1-9]\d{0,2}\.\d{3}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How the rows of one file are read. ``width`` is the number of columns a row must have.

    ``time_places`` are the columns, counted from 0, that make up the time: one, or a date and a time of day.
    """

    width: int
    time_places: tuple[int, ...]
    times: TimeReader
    columns: tuple[ColumnReader, ...]
    ignored: tuple[str, ...]

    def time_cells(self, rows: Sequence[list[str]]) -> list[str]:
        """Return the text of each row's time."""
        if len(self.time_places) == 1:
            place = self.time_places[0]
            return [row[place] for row in rows]
        return [" ".join(row[place].strip() for place in self.time_places) for row in rows]


def make_plan(file: CsvFile, options: ImportOptions) -> Plan:
    """Return how to read this file.

    Raises
    ------
    TrendLogError
        When a column, a unit or the time zone cannot be settled; the message names the nearest known word.
    """
    if options.time_format is not None:
        must_be_a_form(options.time_format)
    time_places = _time_places(file, options.time_column)
    sources = _sources(file, options.columns)
    if not sources:
        raise TrendLogError(
            f"{file.path}, line 1: none of the columns ({', '.join(file.header)}) is named as a quantity "
            f'({", ".join(QUANTITY_NAMES)}); map them with --column "quantity=header:unit"'
        )
    comma = _decimal_comma(file, options.decimal, [place for place, _ in sources.values()])
    columns = tuple(
        ColumnReader(
            place=place,
            header=file.header[place],
            quantity=quantity(name),
            unit=unit,
            decimal_comma=comma,
            chosen=any(choice.quantity == name for choice in options.columns),
        )
        for name in QUANTITY_NAMES
        if name in sources
        for place, unit in [sources[name]]
    )
    used = {*time_places, *(column.place for column in columns)}
    return Plan(
        width=len(file.header),
        time_places=time_places,
        times=TimeReader(form=options.time_format, zone=_zone(file, time_places, options.time_zone)),
        columns=columns,
        ignored=tuple(name for place, name in enumerate(file.header) if place not in used),
    )


def choices_of_files(
    paths: Sequence[Path], choices: tuple[ColumnChoice, ...]
) -> list[tuple[ColumnChoice, ...]]:
    """Return the choices that go for each file: of several files those whose header it has.

    Raises
    ------
    TrendLogError
        When a file cannot be opened, or a choice is for a column that none of several files has.
    """
    if len(paths) == 1:
        return [choices]
    headers = [_header(path) for path in paths]
    for choice in choices:
        if not any(_is_for(choice, header) for header in headers):
            raise TrendLogError(
                f"--column: none of the {len(paths)} files has a column {choice.source!r}"
                + did_you_mean(choice.source, [name for header in headers for name in header])
            )
    return [tuple(choice for choice in choices if _is_for(choice, header)) for header in headers]


def _header(path: Path) -> list[str]:
    with CsvFile(path) as file:
        return file.header


def _is_for(choice: ColumnChoice, header: list[str]) -> bool:
    return choice.source in header or choice.source.rpartition(":")[0].strip() in header


def _time_places(file: CsvFile, wanted: str | None) -> tuple[int, ...]:
    if wanted is not None:
        headers = [wanted] if wanted in file.header else [word.strip() for word in wanted.split("+")]
        return tuple(_place(file, header, "--time") for header in headers)
    names = [name.casefold() for name in file.header]
    in_utc = [place for place, name in enumerate(names) if name in UTC_COLUMNS]
    # A log with local and with UTC times has one that is certain.
    found = in_utc or [place for place, name in enumerate(names) if name in TIME_COLUMNS]
    if sorted(names[place] for place in found) == ["date", "time"]:
        return (names.index("date"), names.index("time"))
    if len(found) != 1:
        what = "several columns may be the time" if found else "no column is the time for certain"
        raise TrendLogError(
            f"{file.path}, line 1: {what}; name it with --time, one of: {', '.join(file.header)}"
        )
    return (found[0],)


def _place(file: CsvFile, header: str, where: str) -> int:
    if header not in file.header:
        raise TrendLogError(
            f"{where}: {file.path} has no column {header!r}{did_you_mean(header, file.header)}"
        )
    if file.header.count(header) > 1:
        raise TrendLogError(f"{where}: {file.path} has more than one column {header!r}; rename all but one")
    return file.header.index(header)


def _sources(file: CsvFile, choices: Iterable[ColumnChoice]) -> dict[str, tuple[int, Unit]]:
    """Return the place and unit of each quantity found; a choice goes before a column of our own name."""
    sources = {
        name: (_place(file, name, f"column {name}"), UNITS[quantity(name).unit])
        for name in QUANTITY_NAMES
        if name in file.header
    }
    chosen: set[str] = set()
    for choice in choices:
        if choice.quantity not in QUANTITY_NAMES:
            raise TrendLogError(
                f"--column: no quantity is named {choice.quantity!r}"
                + did_you_mean(choice.quantity, QUANTITY_NAMES)
            )
        if choice.quantity in chosen:
            raise TrendLogError(f"--column: {choice.quantity} is given twice")
        chosen.add(choice.quantity)
        sources[choice.quantity] = _chosen_source(file, choice)
    return sources


def _chosen_source(file: CsvFile, choice: ColumnChoice) -> tuple[int, Unit]:
    base = quantity(choice.quantity).unit
    # A header may hold a colon itself, so a whole match goes first.
    if choice.source in file.header or ":" not in choice.source:
        return _place(file, choice.source, "--column"), UNITS[base]
    header, _, unit = (word.strip() for word in choice.source.rpartition(":"))
    place = _place(file, header, "--column")
    if unit not in units_of(base):
        allowed = ", ".join(name or "(none)" for name in units_of(base))
        raise TrendLogError(f"--column: {choice.quantity} cannot be in {unit!r}; allowed: {allowed}")
    return place, UNITS[unit]


def _zone(file: CsvFile, time_places: tuple[int, ...], name: str | None) -> tzinfo | None:
    if name is None:
        return UTC if file.header[time_places[0]].casefold() in UTC_COLUMNS else None
    if name.upper() in ("UTC", "Z"):
        return UTC
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise TrendLogError(f"--tz: no time zone is named {name!r}; expected one as Europe/Lisbon") from error


def _decimal_comma(file: CsvFile, wanted: Decimal, places: list[int]) -> bool:
    """Return whether "1,5" is one and a half. What could be either is asked, as a guess may err 1000-fold."""
    if wanted != "auto":
        return wanted == "comma"
    rows = csv.reader(file.sample.splitlines()[1:], delimiter=file.separator)
    cells = [row[place].strip() for row in rows for place in places if place < len(row)]
    comma, point = _any(_COMMA_IS_DECIMAL, cells), _any(_POINT_IS_DECIMAL, cells)
    if comma != point:
        certain = comma and file.separator == ";"
        if comma and not certain:
            raise _AskDecimal(file)
        return certain
    either = _any(_COMMA_MAY_BE_EITHER, cells), _any(_POINT_MAY_BE_EITHER, cells)
    if comma or all(either) or (either[0] and file.separator != ";"):
        raise _AskDecimal(file)
    return file.separator == ";" and not either[1]


def _any(form: re.Pattern[str], cells: list[str]) -> bool:
    return any(form.fullmatch(cell) for cell in cells)


class _AskDecimal(TrendLogError):
    def __init__(self, file: CsvFile) -> None:
        super().__init__(f"{file.path}: has numbers with a comma; say --decimal comma or --decimal point")
