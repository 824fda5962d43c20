"""A register table exported from a drive's manual becomes a register map, whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from collector.quantities import QUANTITY_NAMES
from collector.registers.table_cells import is_unmarked_hex
from collector.registers.table_entry import Line, TableEntry, TableOptions, as_comment
from collector.registers.table_proposals import proposals
from collector.toml_file import did_you_mean, quoted
from collector.trend_log.csv_file import CsvFile
from collector.trend_log.errors import TrendLogError

KEYS: Final = ("address", "name", "type", "scale", "unit", "table", "no_value")
NEEDED: Final = ("address", "name", "type")


class RegisterTableError(Exception):
    """A table or an option that cannot be used: one sentence for each trouble, nothing was made."""

    def __init__(self, *sentences: str) -> None:
        super().__init__("\n".join(sentences))
        self.sentences = sentences


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterTable:
    """A table as read: its lines that have a register number and a name."""

    path: Path
    lines: tuple[Line, ...]

    def proposals(self) -> dict[str, list[Line]]:
        """Return for each quantity the lines whose words stand for it; several are for a person to choose."""
        found = proposals([line.name for line in self.lines])
        return {
            name: [self.lines[place] for place in found[name]] for name in QUANTITY_NAMES if name in found
        }

    def chosen(self, quantities: Mapping[str, str]) -> dict[str, Line]:
        """Return the line of each quantity.

        Raises
        ------
        RegisterTableError
            With a sentence for each that is not there, or there more than once.
        """
        chosen, troubles = {}, []
        for name, wanted in quantities.items():
            lines = [line for line in self.lines if _is_called(line, wanted)]
            if name not in QUANTITY_NAMES:
                troubles.append(f"unknown quantity {name!r}{did_you_mean(name, QUANTITY_NAMES)}")
            elif len(lines) == 1:
                chosen[name] = lines[0]
            else:
                troubles.append(f"{self.path}: {name}: {self._not_one(wanted, lines)}")
        if troubles:
            raise RegisterTableError(*troubles)
        return chosen

    def _not_one(self, wanted: str, lines: Sequence[Line]) -> str:
        if not lines:
            return f"no line is called {wanted!r}{did_you_mean(wanted, [line.name for line in self.lines])}"
        numbers = ", ".join(str(line.number) for line in lines)
        return f"lines {numbers} are all called {wanted!r}; name the one by its register number"


def read_register_table(path: Path, columns: Mapping[str, str]) -> RegisterTable:
    """Read a CSV table whose columns have these headers.

    Lines without a register number or a name are headings of the manual and left out.

    Raises
    ------
    RegisterTableError
        When the file cannot be read, or a column is missing.
    """
    missing = [key for key in NEEDED if key not in columns]
    if missing:
        raise RegisterTableError(
            f"the columns for {', '.join(missing)} are not stated: "
            '--columns "address=..., name=..., type=..."'
        )
    try:
        with CsvFile(path, expected="columns for register number, name and type") as file:
            places = _places(path, file.header, columns)
            lines = [
                Line(number=number, cells=_cells(row, places))
                for batch in file.batches()
                for number, row in zip(batch.lines, batch.rows, strict=True)
            ]
    except TrendLogError as error:
        raise RegisterTableError(str(error)) from error
    kept = tuple(line for line in lines if line.name and line.cells["address"])
    if not kept:
        raise RegisterTableError(f"{path}: no line has a register number and a name")
    return RegisterTable(path=path, lines=kept)


def map_text_of(table: RegisterTable, options: TableOptions, name: str) -> str:
    """Return the register map of the chosen lines, as ``load_register_map`` reads it.

    Raises
    ------
    RegisterTableError
        With one sentence for each cell that cannot be read: file, line, column, what was expected.
    """
    chosen = table.chosen(options.quantities)
    if not chosen:
        raise RegisterTableError(f"{table.path}: no quantity is chosen; state --quantity")
    hex_line = next((line for line in table.lines if is_unmarked_hex(line.cells["address"])), None)
    entries: list[str] = []
    troubles: list[str] = []
    for quantity_name in QUANTITY_NAMES:
        if quantity_name in chosen:
            entry = TableEntry(table.path, options, quantity_name, chosen[quantity_name], hex_line)
            entries.append(entry.text())
            troubles += entry.troubles
    if troubles:
        raise RegisterTableError(*troubles)
    head = [
        f"# Made from {as_comment(table.path.name)}; the manual has the last word, owncurve check proves it.",
        "[map]",
        f"name = {quoted(name)}",
        f'addresses = "{options.counting}"',
        f'byte_order = "{options.byte_order}"',
        f'word_order = "{options.word_order}"',
        "",
        "[quantity]",
    ]
    return "\n".join([*head, *entries]) + "\n"


def _places(path: Path, header: Sequence[str], columns: Mapping[str, str]) -> dict[str, int]:
    places = {}
    for key, column in columns.items():
        if key not in KEYS:
            raise RegisterTableError(f"--columns: unknown key {key!r}{did_you_mean(key, KEYS)}")
        if list(header).count(column) > 1:
            raise RegisterTableError(f"{path}, line 1: two columns are called {column!r}; rename one")
        if column not in header:
            raise RegisterTableError(
                f"{path}, line 1: there is no column {column!r}{did_you_mean(column, list(header))}"
            )
        places[key] = header.index(column)
    return places


def _cells(row: Sequence[str], places: Mapping[str, int]) -> dict[str, str]:
    return {key: row[place].strip() if place < len(row) else "" for key, place in places.items()}


def _is_called(line: Line, wanted: str) -> bool:
    called = " ".join(wanted.lower().split())
    return called in (" ".join(line.name.lower().split()), line.cells["address"].lower())
