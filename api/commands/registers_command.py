"""``owncurve registers``: a register table from a manual becomes a register map."""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from api.commands import OK, Refusal
from api.commands.keeping import keep
from api.commands.saying import say

if TYPE_CHECKING:
    from collector.registers.register_table import RegisterTable
    from collector.registers.table_entry import TableOptions

SUMMARY = "turn a register table, exported as CSV from a drive's manual, into a register map"
EXAMPLE = (
    'owncurve registers table.csv --columns "address=Reg no, name=Parameter, type=Format, scale=Mult, '
    'unit=Unit" --addresses one-based --quantity "flow_m3h=Actual flow" --write maps/pump.toml'
)
_ORDERS: Final = ("big", "little")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``registers``."""
    parser.add_argument("table", type=Path, metavar="TABLE.csv", help="the table, with a header row")
    parser.add_argument(
        "--columns",
        required=True,
        metavar='"KEY=HEADER, ..."',
        help="which column is which: address, name, type, and where there are scale, unit, table, no_value",
    )
    parser.add_argument(
        "--addresses", required=True, choices=("one-based", "zero-based"), help="how the table counts"
    )
    parser.add_argument(
        "--quantity",
        action="append",
        default=[],
        metavar='"QUANTITY=NAME"',
        help="the line of a quantity, by its name or register number; may be repeated",
    )
    parser.add_argument(
        "--take-proposals", action="store_true", help="take the lines proposed for the other quantities too"
    )
    parser.add_argument("--table", dest="of_table", choices=("input", "holding"), default=None,
                        help="where neither number nor column says it")  # fmt: skip
    parser.add_argument("--byte-order", choices=_ORDERS, default="big", help="default big")
    parser.add_argument("--word-order", choices=_ORDERS, default="big", help="of 32-bit values; default big")
    parser.add_argument(
        "--scale-means",
        choices=("raw-times", "value-times"),
        default=None,
        help='value = raw x scale, or raw = value x scale; must be said where the table writes "x10"',
    )
    parser.add_argument(
        "--plain-numbers", action="store_true", help="40021 is a register number, not the 21st holding one"
    )
    parser.add_argument("--name", default=None, help="what the map is called (default: the file's name)")
    parser.add_argument(
        "--write", type=Path, default=None, metavar="MAP.toml", help="where to; else it is shown"
    )
    parser.add_argument("--force", action="store_true", help="replace a map that is there")


def run(arguments: argparse.Namespace) -> int:
    """Write the map, or show it; a table with one bad cell among the chosen lines gives no map at all."""
    from collector.registers.register_table import RegisterTableError, map_text_of, read_register_table

    name = arguments.name or arguments.table.stem
    try:
        columns = _pairs("--columns", arguments.columns.split(","))
        table = read_register_table(arguments.table, columns)
        quantities = _quantities(arguments, table)
        text = map_text_of(table, _options(arguments, columns, quantities), name)
        _must_load(text)
    except RegisterTableError as error:
        raise Refusal("\nowncurve: ".join(error.sentences)) from error
    if arguments.write is None:
        print(text, end="")
        return OK
    keep(arguments.write, text, is_forced=arguments.force)
    say(f"{arguments.write}: {len(quantities)} quantities; owncurve check proves them at the drive")
    return OK


def _pairs(option: str, choices: Sequence[str]) -> dict[str, str]:
    pairs: dict[str, str] = {}
    for choice in choices:
        key, mark, value = choice.partition("=")
        if not mark or not key.strip() or not value.strip():
            raise Refusal(f"{option}: expected KEY=NAME, not {choice.strip()!r}")
        if key.strip() in pairs:
            raise Refusal(f"{option}: {key.strip()} is stated twice")
        pairs[key.strip()] = value.strip()
    return pairs


def _options(
    arguments: argparse.Namespace, columns: dict[str, str], quantities: dict[str, str]
) -> TableOptions:
    from collector.registers.table_entry import TableOptions

    return TableOptions(
        columns=columns,
        quantities=quantities,
        counting=arguments.addresses,
        byte_order=arguments.byte_order,
        word_order=arguments.word_order,
        table=arguments.of_table,
        scale_means=arguments.scale_means,
        leading_digit=not arguments.plain_numbers,
    )


def _quantities(arguments: argparse.Namespace, table: RegisterTable) -> dict[str, str]:
    """Return the chosen lines, with proposals told, and taken only when asked to."""
    chosen = _pairs("--quantity", arguments.quantity)
    for name, lines in table.proposals().items():
        if name in chosen:
            continue
        shown = "; ".join(f'line {line.number}, {line.cells["address"]}, "{line.name}"' for line in lines)
        if len(lines) > 1:
            say(f"{name} may be one of: {shown}; choose with --quantity")
        elif arguments.take_proposals:
            say(f"{name} taken as proposed: {shown}")
            chosen[name] = lines[0].cells["address"]
        else:
            say(f'{name} may be {shown}: --quantity "{name}={lines[0].name}" takes it')
    if not chosen:
        raise Refusal("no quantity is chosen yet: state --quantity, or --take-proposals for those above")
    return chosen


def _must_load(text: str) -> None:
    """Refuse a map that the product itself would not read, before anything is written."""
    from collector.registers import RegisterMapError, load_register_map

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "map.toml"
        path.write_text(text, encoding="utf-8")
        try:
            load_register_map(path)
        except RegisterMapError as error:
            raise Refusal(str(error).replace(str(path), "the map that this table makes")) from error
