"""The cells of a manual's register table, in the many ways in which manuals write them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final, Literal

from collector.registers.register_map import Table, TypeName
from collector.units import unit_as_written

Counting = Literal["one-based", "zero-based"]
ScaleMeans = Literal["raw-times", "value-times"]
"""``raw-times``: value = raw x scale; ``value-times``: raw = value x scale, as "x10" often means."""

_NUMBERED: Final = {"3": "input", "4": "holding"}
"""The leading digit by which many manuals name a register's table (common practice, not the protocol's)."""
_TABLES: Final[dict[str, Table]] = {
    "holding": "holding", "holding register": "holding", "holding registers": "holding", "hr": "holding",
    "3": "holding", "03": "holding", "0x03": "holding", "fc3": "holding", "fc03": "holding", "4x": "holding",
    "r/w": "holding", "rw": "holding",
    "input": "input", "input register": "input", "input registers": "input", "ir": "input", "4": "input",
    "04": "input", "0x04": "input", "fc4": "input", "fc04": "input", "3x": "input",
}  # fmt: skip
"""Names, and function codes: 3 reads holding registers, 4 input registers (application protocol V1.1b3)."""
_FLOAT: Final = re.compile(r"REAL|FLOAT|SINGLE|IEEE|\bF32\b")
_UNSIGNED: Final = re.compile(r"UNSIGNED|UINT|UDINT|ULINT|ULONG|USHORT|WORD|\bU\d|\bUI|INT ?\d+ ?U\b")
_SIGNED: Final = re.compile(r"INT|LONG|SHORT|SIGNED|\b[SI]\d")
_BITS: Final = re.compile(r"BIT ?(FIELD|MAP|MASK|S\b|STRING)|ENUM|FLAGS")
_LONG: Final = re.compile(r"DINT|DWORD|LONG|32|FLOAT|REAL|SINGLE|IEEE")
_VERY_LONG: Final = re.compile(r"64|LINT|LWORD|LREAL|DOUBLE")
_HALF: Final = re.compile(r"\bU?SINT\b(?! ?\d)|INT ?8|\b(?:[UIS]|UI)8\b|\b8[ -]?BIT")
"""Eight bits: SINT and USINT have so many by IEC 61131-3 (from memory), whatever a manual means by them."""
_THOUSANDS: Final = re.compile(r"\d{1,3}(?:,\d{3})+")
_COUNT: Final = re.compile(r"(\d+) *(?:X *)?(?:REGS?|REGISTERS?|WORDS)\b")


class CellError(Exception):
    """A cell that cannot be read: what was expected, in words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A register as the table counts: ``table`` is ``None`` where the number does not say it."""

    address: int
    table: Table | None = None


def read_address(text: str, counting: Counting, *, leading_digit: bool = True) -> Place:
    """Return the register that a cell names: 21, 0x15, 15h, 40021, 400021, 4x0021; of a range the first.

    Five and six digits that begin with 3 or 4 are a table and a number in it, unless ``leading_digit`` is
    false.

    Raises
    ------
    CellError
        When it is none of these.

    >>> read_address("40021", "one-based")
    Place(address=21, table='holding')
    >>> read_address("0x15", "zero-based")
    Place(address=21, table=None)
    """
    if _THOUSANDS.fullmatch(text.strip()):
        raise CellError(
            f"one number without a comma, as {text.strip().replace(',', '')}, or the first of them"
        )
    first = re.split(r"\.\.+|\bto\b|[-–/,]", text.strip(), maxsplit=1)[0].strip().replace(" ", "")
    marked = re.fullmatch(r"([34])[xX:]0*(\d+)", first)
    if marked:
        return Place(address=_counted(int(marked[2]), counting).address, table=_table_of(marked[1]))
    marked_hex = re.fullmatch(r"0[xX]([0-9a-fA-F]{1,4})|([0-9a-fA-F]{1,4})[hH]", first)
    if marked_hex:
        return _hex_place(int(marked_hex[1] or marked_hex[2], 16), counting, leading_digit=leading_digit)
    if is_unmarked_hex(first):
        raise CellError(f"0x in front of a hexadecimal number, as in 0x{first}")
    if re.fullmatch(r"[34][0xX:]+[0-9a-fA-F]+[hH]?", first) and not first.isdecimal():
        raise CellError("a number in decimal behind 4x or 3x, or the hexadecimal one alone, as in 0x15")
    if not re.fullmatch(r"\d{1,6}", first):
        raise CellError("a register number such as 21, 0x15, 40021 or 400021")
    if leading_digit and len(first) >= 5 and first[0] in _NUMBERED:
        return _numbered_place(first, counting)
    return _counted(int(first), counting)


def _numbered_place(first: str, counting: Counting) -> Place:
    """Return what five or six digits name: a table by the first of them, and a number in it."""
    number, lowest = int(first[1:]), int(counting == "one-based")
    if number < lowest:
        raise CellError(f"a number from {first[0]}{lowest:0{len(first) - 1}d} on in a one-based table")
    _counted(number, counting)
    return Place(address=number, table=_table_of(first[0]))


def is_unmarked_hex(cell: str) -> bool:
    """Return whether a cell can only be a hexadecimal number that nothing marks as one.

    >>> is_unmarked_hex("001A"), is_unmarked_hex("0x1A"), is_unmarked_hex("0010")
    (True, False, False)
    """
    return re.fullmatch(r"(?=\d*[a-fA-F])\d[0-9a-fA-F]{2,3}", cell.strip()) is not None


def _hex_place(number: int, counting: Counting, *, leading_digit: bool) -> Place:
    """Return the register of a hexadecimal number, unless it may be a decimal table and number within."""
    if leading_digit and number >= 10_000 and str(number)[0] in _NUMBERED:
        raise CellError(
            f"to be told what {number} in hexadecimal is: with --plain-numbers the register of that number, "
            f"else write {number} for one of the {_table_of(str(number)[0])} table"
        )
    return _counted(number, counting)


def _counted(number: int, counting: Counting) -> Place:
    first = int(counting == "one-based")
    if not first <= number <= 65_535 + first:
        raise CellError(f"a register number of {first} to {65_535 + first} in a {counting} table")
    return Place(address=number)


def _table_of(digit: str) -> Table:
    return "holding" if digit == "4" else "input"


def read_table_name(text: str) -> Table:
    """Return the table that a cell names, by its name or the function code that reads it.

    Raises
    ------
    CellError
        When it is neither.
    """
    known = _TABLES.get(" ".join(text.lower().split()))
    if known is None:
        raise CellError("holding or input, or the function code 3 or 4")
    return known


def read_type(text: str) -> TypeName:
    """Return the type that a cell means: UINT16, INT, REAL, FLOAT32, UDINT, "unsigned, 2 registers", ...

    INT, DINT, REAL, WORD and their like have the sizes of IEC 61131-3 (from memory).

    Raises
    ------
    CellError
        When it is none that a register map can hold.

    >>> read_type("UINT16"), read_type("REAL"), read_type("INT, 2 regs"), read_type("2 regs")
    ('u16', 'f32', 'i32', 'u32')
    """
    words = " ".join(text.upper().replace("_", " ").split())
    count = _COUNT.search(words)
    registers = int(count[1]) if count else None
    kind = _COUNT.sub("", words)
    if _HALF.search(kind):
        raise CellError("16 bits or more: which half of a register holds 8 bits, a map cannot say")
    bits = 16 * registers if registers else _bits(kind)
    if _FLOAT.search(kind):
        return _known("f", bits if registers else max(32, bits), text)
    if _UNSIGNED.search(kind):
        return _known("u", bits, text)
    if _SIGNED.search(kind):
        return _known("i", bits, text)
    if _BITS.search(kind):
        return "bits" if bits == 16 else _known("u", bits, text)
    if registers or re.fullmatch(r"(16|32|64)([ -]?BITS?)?", kind.strip()):
        return _known("u", bits, text)
    raise CellError("a type such as UINT16, INT16, UINT32, INT32, FLOAT32 or REAL")


def _bits(kind: str) -> int:
    if _VERY_LONG.search(kind):
        return 64
    return 32 if _LONG.search(kind) else 16


_TYPES: Final[dict[tuple[str, int], TypeName]] = {
    ("u", 16): "u16", ("u", 32): "u32", ("u", 64): "u64",
    ("i", 16): "i16", ("i", 32): "i32", ("f", 32): "f32",
}  # fmt: skip


def _known(kind: str, bits: int, text: str) -> TypeName:
    known = _TYPES.get((kind, bits))
    if known is None:
        raise CellError("16 or 32 bits whole, 64 bits unsigned, or 32 bits real")
    return known


def read_scale(text: str, means: ScaleMeans | None) -> float:
    """Return what the raw value is multiplied by: of 0.1, 0,1, 1/10, /10, 10^-1, x10; empty is 1.

    Raises
    ------
    CellError
        When it is no number above or below zero, or "x10" of which nobody said which way it goes.

    >>> read_scale("1/10", None), read_scale("x10", "value-times"), read_scale("0,1", None)
    (0.1, 0.1, 0.1)
    """
    word = re.sub(r"\s+", "", text).lower().replace("×", "x").replace("÷", "/").replace("*", "x")
    if word in ("", "-", "–", "none"):
        return 1.0
    if re.fullmatch(r"[1-9]\d{0,2},000", word):
        raise CellError(f"{word.partition(',')[0]} or {word.replace(',', '')}: {word!r} may be either")
    is_times = word.startswith("x")
    if is_times and means is None:
        raise CellError("to be told which way it goes by --scale-means raw-times or value-times")
    number = _number(word.removeprefix("x"))
    if number is None or number == 0:
        raise CellError("a scale such as 0.1, 1/10, 10^-1 or x10")
    # A fraction is what a raw step is worth, whatever else stands in the column.
    return _clean(1 / number if means == "value-times" and abs(number) >= 1 else number)


def _number(word: str) -> float | None:
    power = re.fullmatch(r"10(?:\^|\*\*|e)([-+−]?\d{1,2})", word)
    if power:
        return float(f"1e{power[1].replace('−', '-')}")
    parts = word.split("/")
    values = [_plain(part) for part in parts]
    if len(parts) == 2 and values[1]:
        over = 1.0 if parts[0] == "" else values[0]
        return None if over is None else over / values[1]
    return values[0] if len(parts) == 1 else None


def _plain(word: str) -> float | None:
    return float(word.replace(",", ".")) if re.fullmatch(r"-?\d+([.,]\d+)?(e-?\d{1,2})?", word) else None


def _clean(value: float) -> float:
    return float(f"{value:.12g}")


def read_unit(text: str) -> tuple[float, str]:
    """Return the scale and the unit of a cell such as "gpm", "0.1 gpm" or "m³/h"; the scale is 1 if unsaid.

    Raises
    ------
    CellError
        When no known unit is meant.

    >>> read_unit("0.1 gpm")
    (0.1, 'gpm')
    """
    parts = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)?\s*\[?\s*(.*?)\s*\]?\s*", text)
    unit = unit_as_written(parts[2]) if parts else None
    if parts is None or unit is None:
        raise CellError("a known unit such as W, kW, gpm, m3/h, L/s, ft, m, kPa or rpm")
    return (1.0 if parts[1] is None else float(parts[1].replace(",", "."))), unit
