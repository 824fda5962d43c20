"""What a person says about a trend log, and what comes of importing it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from collector.store import SetAside
from collector.trend_log.errors import TrendLogError

Decimal = Literal["auto", "point", "comma"]
Progress = Callable[[int, int], None]
"""Told the bytes read so far and the size of the file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnChoice:
    """A column for a quantity. ``source`` is a header, with ``:unit`` behind it when the unit is not ours."""

    quantity: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportOptions:
    """How to read a trend log; what is ``None`` or empty is found out from the file, or refused.

    ``time_format`` is a form such as ``%m/%d/%Y %I:%M %p`` (the letters of Python's ``strptime``), or
    ``unix_s`` or ``unix_ms``. ``time_zone`` is the IANA name for times that carry no offset.
    """

    time_column: str | None = None
    time_format: str | None = None
    time_zone: str | None = None
    columns: tuple[ColumnChoice, ...] = ()
    decimal: Decimal = "auto"
    keep_stored: bool = False
    """Import what is new even if much of the rest contradicts what is stored."""
    units_are_right: bool = False
    """Import values even if the water gets more power by them than the drive takes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnTrouble:
    """Cells of a column that gave no value for one reason, ``"unreadable"`` or ``"impossible"``.

    ``count`` of its ``cells``; ``line`` and ``cell`` are those of the first.
    """

    header: str
    reason: Literal["unreadable", "impossible"]
    count: int
    cells: int
    line: int
    cell: str

    def sentence(self) -> str:
        """Return what is wrong, in one line."""
        are = "are no number" if self.reason == "unreadable" else "are values no pump can have"
        return (
            f"column {self.header!r}: {self.count:,} of {self.cells:,} cells {are}, "
            f"first at line {self.line}: {self.cell[:60]!r}"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportReport:
    """What an import did. Counts are rows; ``values_*`` count single cells.

    ``rows_completed`` filled values that the reading of their instant had none of. ``rows_duplicate`` changed
    nothing; of these ``rows_contradicting`` have values that differ from the stored ones, which stay, and
    ``rows_beside_polled`` have values that the reading polled at that instant lacks, and go on lacking.
    ``set_aside`` holds the first of the rows set aside; all are in the database.
    """

    pump: str
    import_id: int
    file: str
    sha256: str
    rows_read: int
    rows_new: int
    rows_completed: int
    rows_duplicate: int
    rows_contradicting: int
    rows_beside_polled: int
    rows_set_aside: int
    values_unreadable: int
    values_impossible: int
    first_utc_ms: int | None
    last_utc_ms: int | None
    set_aside: tuple[SetAside, ...]
    columns_used: tuple[str, ...]
    columns_ignored: tuple[str, ...]
    column_troubles: tuple[ColumnTrouble, ...] = ()


def column_choice(text: str) -> ColumnChoice:
    """Return the choice written as ``quantity=header`` or ``quantity=header:unit``.

    Raises
    ------
    TrendLogError
        When there is no ``=`` with something on both sides.

    >>> column_choice("flow_m3h=CHW flow:gpm").source
    'CHW flow:gpm'
    """
    quantity, _, source = text.partition("=")
    if not quantity.strip() or not source.strip():
        raise TrendLogError(f'--column {text!r}: expected "quantity=header" or "quantity=header:unit"')
    return ColumnChoice(quantity=quantity.strip(), source=source.strip())
