"""One line of a manual's table as one line of a register map."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from collector.quantities import quantity
from collector.registers.map_file import UNIT_IS_STATED
from collector.registers.register_map import Order, Table
from collector.registers.table_cells import (
    CellError,
    Counting,
    ScaleMeans,
    read_address,
    read_scale,
    read_table_name,
    read_type,
    read_unit,
)
from collector.units import UNITS, units_of


@dataclass(frozen=True, slots=True, kw_only=True)
class TableOptions:
    """How to read the table. ``columns`` gives the header of each key, ``quantities`` the line of each.

    A line is named by its name or by its register number as they stand in the table.
    """

    columns: Mapping[str, str]
    quantities: Mapping[str, str] = field(default_factory=dict)
    counting: Counting
    byte_order: Order = "big"
    word_order: Order = "big"
    table: Table | None = None
    scale_means: ScaleMeans | None = None
    leading_digit: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line of the table: its number in the file and its cells by key."""

    number: int
    cells: Mapping[str, str]

    @property
    def name(self) -> str:
        """Return what the table calls it."""
        return self.cells["name"]


class TableEntry:
    """Reads the cells of a line; what cannot be read is a sentence in ``troubles``."""

    def __init__(
        self, path: Path, options: TableOptions, name: str, line: Line, hex_line: Line | None = None
    ) -> None:
        self._path = path
        self._options = options
        self._name = name
        self._line = line
        self._hex_line = hex_line
        self.troubles: list[str] = []

    def text(self) -> str:
        """Return the line of the map; empty, with ``troubles``, when a cell cannot be read."""
        parts = [*self._where(), *self._type(), *self._scale_and_unit(), *self._no_values()]
        joined = ", ".join(parts)
        return f"# {as_comment(self._line.name)}\n{self._name} = {{ {joined} }}"

    def _where(self) -> Iterator[str]:
        options, cells = self._options, self._line.cells
        try:
            self._refuse_what_may_be_hex(cells["address"])
            place = read_address(cells["address"], options.counting, leading_digit=options.leading_digit)
        except CellError as error:
            self._complain("address", error)
            return
        table = place.table or options.table
        if cells.get("table") and place.table is None:
            try:
                table = read_table_name(cells["table"])
            except CellError as error:
                self._complain("table", error)
                return
        if table is None:
            words = "a number such as 40021 that says holding or input; else state --table or a table column"
            self._complain("address", CellError(words))
            return
        yield f'table = "{table}"'
        yield f"address = {place.address}"

    def _refuse_what_may_be_hex(self, cell: str) -> None:
        """Refuse 0010 below a 000A: in such a column it is 16, and nothing says so."""
        if self._hex_line is not None and cell.strip().isdecimal():
            seen = self._hex_line
            raise CellError(
                f"0x in front of hexadecimal numbers: line {seen.number} has {seen.cells['address']!r}, so "
                f"this may be 0x{cell.strip()} too"
            )

    def _type(self) -> Iterator[str]:
        try:
            read = read_type(self._line.cells["type"])
        except CellError as error:
            self._complain("type", error)
            return
        yield f'type = "{read}"'

    def _scale_and_unit(self) -> Iterator[str]:
        scale, unit = 1.0, None
        try:
            scale = read_scale(self._line.cells.get("scale", ""), self._options.scale_means)
        except CellError as error:
            self._complain("scale", error)
        base = quantity(self._name).unit
        cell = self._line.cells.get("unit", "")
        try:
            factor, unit = read_unit(cell) if cell else (1.0, None)
            scale *= factor
            self._unit_must_fit(unit, base)
        except CellError as error:
            self._complain("unit", error)
        if scale != 1:
            yield f"scale = {scale:.12g}"
        if unit and base:
            yield f'unit = "{unit}"'

    def _unit_must_fit(self, unit: str | None, base: str) -> None:
        known = ", ".join(units_of(base)) or "none"
        if unit is None and self._name in UNIT_IS_STATED:
            raise CellError(f"the unit of its register, one of {known}")
        if unit and UNITS[unit].base != base:
            raise CellError(f"a unit of {self._name}: {known}")

    def _no_values(self) -> Iterator[str]:
        cell = self._line.cells.get("no_value", "")
        if not cell or cell in ("-", "–"):
            return
        word = cell.strip().lower()
        try:
            raw = "nan" if word == "nan" else hex(int(word, 16)) if word.startswith("0x") else str(int(word))
        except ValueError:
            self._complain("no_value", CellError("a raw value such as 0xFFFF, 65535 or NaN"))
            return
        yield f"no_value = [{raw}]"

    def _complain(self, key: str, error: CellError) -> None:
        cell = self._line.cells.get(key, "")
        column = f", column {self._options.columns[key]!r}" if key in self._options.columns else ""
        self.troubles.append(
            f"{self._path}, line {self._line.number}{column} ({self._name}): "
            f"expected {error}, not {cell[:60]!r}"
        )


def as_comment(text: str) -> str:
    """Return text that stays on the line of a comment whatever is in it."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())
