"""A sheet as a file of a kind that people's programs open; a file is written whole or not at all."""

from __future__ import annotations

import csv
import importlib
import io
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any, Final

from api.commands import FAILED, Refusal

if TYPE_CHECKING:
    from api.answers.week_sheet import Cell, Sheet

_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")
_WITH: Final = {"xlsx": "openpyxl", "parquet": "pyarrow"}
"""They weigh 3 and 170 MB, so that they come with the extra ``export`` and not with every collector."""


def as_csv(sheet: Sheet) -> str:
    """Return a sheet as comma-separated text; what a spreadsheet would take for a formula is kept as text."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(sheet.titles)
    rows.writerows([csv_cell(cell) for cell in row] for row in sheet.rows)
    return text.getvalue()


def csv_cell(cell: Cell) -> str:
    """Return a cell as text.

    >>> csv_cell(None), csv_cell(-1.5), csv_cell("=1+1"), csv_cell(3.0)
    ('', '-1.5', "'=1+1", '3')
    """
    if cell is None:
        return ""
    if isinstance(cell, float):
        return f"{cell:.15g}"
    text = str(cell)
    return f"'{text}" if isinstance(cell, str) and text.startswith(_FORMULA_STARTS) else text


def write_sheet(sheet: Sheet, kind: str, path: Path) -> None:
    """Write a sheet as ``kind`` (csv, xlsx or parquet).

    Raises
    ------
    Refusal
        With one line when the file cannot be written, or what writes such a file is not installed.
    """
    from collector.whole_file import NotWrittenError, write_over

    make: dict[str, Callable[[Sheet], bytes]] = {"csv": _csv_bytes, "xlsx": _as_xlsx, "parquet": _as_parquet}
    try:
        write_over(path, make[kind](sheet))
    except NotWrittenError as error:
        raise Refusal(str(error), FAILED) from error


def _csv_bytes(sheet: Sheet) -> bytes:
    return as_csv(sheet).encode("utf-8-sig")


def _as_xlsx(sheet: Sheet) -> bytes:
    openpyxl = _library("xlsx")
    book = openpyxl.Workbook()
    page = book.active
    page.title = "Weeks"
    for row, cells in enumerate((sheet.titles, *sheet.rows), start=1):
        for column, value in enumerate(cells, start=1):
            _put(page.cell(row=row, column=column), value)
    page.freeze_panes = "B2"
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def _put(place: Any, value: Cell) -> None:  # noqa: ANN401 - a cell of a library that may not be there
    """Set a cell; text stays text, also where it begins as a formula does."""
    place.value = value
    if isinstance(value, str):
        place.data_type = "s"
        place.quotePrefix = int(value.startswith(_FORMULA_STARTS))


def _as_parquet(sheet: Sheet) -> bytes:
    pyarrow = _library("parquet")
    parquet = importlib.import_module("pyarrow.parquet")
    columns = [list(column) for column in zip(*sheet.rows, strict=True)] or [[] for _ in sheet.titles]
    file = io.BytesIO()
    parquet.write_table(pyarrow.table(dict(zip(sheet.titles, columns, strict=True))), file)
    return file.getvalue()


def _library(kind: str) -> ModuleType:
    try:
        return importlib.import_module(_WITH[kind])
    except ModuleNotFoundError as error:
        raise Refusal(
            f"a .{kind} file needs {_WITH[kind]}, which is not here: install owncurve[export], or take --csv"
        ) from error
