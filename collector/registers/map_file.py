"""Reading a register map that a tech typed from a drive's manual."""

from __future__ import annotations

import math
import struct
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from collector.quantities import QUANTITY_NAMES, quantity
from collector.registers.register_map import STRUCT_LETTERS, FaultMeaning, Order, Point, RegisterMap, TypeName
from collector.toml_file import Number, StrictTable, TomlFileError, Whole, did_you_mean, read_table, where
from collector.units import UNITS, units_of

MOST_REGISTERS = 125
"""The most that one answer can carry (application protocol V1.1b3, function code 3; from memory)."""
LARGEST_ADDRESS = 65_535
LARGEST_F32 = (2 - 2**-23) * 2.0**127
"""The largest finite single (IEEE 754-2019, binary32)."""
UNIT_IS_STATED = frozenset({"power_w", "flow_m3h", "head_m", "fluid_temperature_c", "drive_temperature_c"})
"""Drives report these in several units, and a wrong guess would look like a pump gone bad."""
RawValue = Annotated[int, Field(strict=True)] | Annotated[float, Field(strict=True)]


class RegisterMapError(TomlFileError):
    """A register map that cannot be used, in one line."""


class _MapTable(StrictTable):
    name: Annotated[str, Field(min_length=1, max_length=200)]
    addresses: Literal["zero-based", "one-based"]
    byte_order: Order = "big"
    word_order: Order = "big"
    max_block: Annotated[Whole, Field(ge=4, le=MOST_REGISTERS)] = 60
    largest_hole: Annotated[Whole, Field(ge=0, le=MOST_REGISTERS)] = 8


class _Entry(StrictTable):
    table: Literal["input", "holding"]
    address: Annotated[Whole, Field(ge=0, le=LARGEST_ADDRESS + 1)]
    type: TypeName
    scale: Annotated[Number, Field(gt=-1e12, lt=1e12)] = 1.0
    offset: Annotated[Number, Field(gt=-1e12, lt=1e12)] = 0.0
    unit: str | None = None
    no_value: tuple[RawValue, ...] = ()
    highest_raw: RawValue | None = None
    byte_order: Order | None = None
    word_order: Order | None = None

    @model_validator(mode="after")
    def _makes_sense(self) -> _Entry:
        if self.scale == 0:
            raise ValueError("scale 0 would make every value the same")
        for value in self.no_value:
            if not _fits(self.type, value):
                raise ValueError(f"no_value {value} does not fit the type {self.type}")
        if self.highest_raw is not None and not _fits(self.type, self.highest_raw):
            raise ValueError(f"highest_raw {self.highest_raw} does not fit the type {self.type}")
        return self


class _Fault(StrictTable):
    words: Annotated[str, Field(min_length=1, max_length=500)]
    check: Annotated[str, Field(max_length=500)] = ""

    @model_validator(mode="after")
    def _is_one_line_each(self) -> _Fault:
        for name, words in (("words", self.words), ("check", self.check)):
            if len(words.splitlines()) > 1:
                raise ValueError(f"{name} should be one line")
        return self


class _Document(StrictTable):
    map: _MapTable
    quantity: dict[str, _Entry]
    fault: dict[str, _Fault] = Field(default_factory=dict)


def load_register_map(path: Path) -> RegisterMap:
    """Read a register map.

    Raises
    ------
    RegisterMapError
        One line that names the file, the line where it can, the key and what was expected.
    """
    try:
        document = read_table(path, _Document)
    except TomlFileError as error:
        raise RegisterMapError(str(error)) from error
    text = path.read_text(encoding="utf-8-sig")
    if not document.quantity:
        raise RegisterMapError(f"{path}: holds no [quantity.NAME], so there is nothing to read")
    points: list[Point] = []
    for name, entry in document.quantity.items():
        complaint = _complaint(document.map, name, entry)
        if complaint:
            raise RegisterMapError(f"{where(path, text, ('quantity', name))}: {complaint}")
        point = _point(document.map, name, entry)
        shared = next((other for other in points if _overlap(point, other)), None)
        if shared is not None:
            raise RegisterMapError(
                f"{where(path, text, ('quantity', name))}: {name}: is on a register of "
                f"{shared.quantity.name}; a register holds one quantity"
            )
        points.append(point)
    return RegisterMap(
        name=document.map.name,
        points=tuple(points),
        faults=_faults(path, text, document),
        max_block=document.map.max_block,
        largest_hole=document.map.largest_hole,
    )


def _complaint(table: _MapTable, name: str, entry: _Entry) -> str | None:
    if name not in QUANTITY_NAMES:
        return f"unknown quantity {name!r}{did_you_mean(name, QUANTITY_NAMES)}"
    first = int(table.addresses == "one-based")
    last = LARGEST_ADDRESS + 1 + first - struct.calcsize(f">{STRUCT_LETTERS[entry.type]}") // 2
    if not first <= entry.address <= last:
        return (
            f"{name}: a {table.addresses} address of {entry.type} is {first} to {last}, not {entry.address}"
        )
    base = quantity(name).unit
    if entry.unit is None and name in UNIT_IS_STATED:
        allowed = ", ".join(repr(unit) for unit in units_of(base))
        return f"{name}: needs the unit of its register; one of {allowed}"
    if entry.unit is not None and (entry.unit not in UNITS or UNITS[entry.unit].base != base):
        allowed = ", ".join(repr(unit) for unit in units_of(base))
        return (
            f"{name}: unit {entry.unit!r} cannot be turned into {base or 'a plain number'}; known: {allowed}"
        )
    if quantity(name).value_type == "whole" and entry.type == "f32":
        return f"{name}: is a whole number, so its type cannot be f32"
    return None


def _overlap(one: Point, other: Point) -> bool:
    return one.table == other.table and one.address < other.end and other.address < one.end


def _point(table: _MapTable, name: str, entry: _Entry) -> Point:
    unit = UNITS[quantity(name).unit if entry.unit is None else entry.unit]
    return Point(
        quantity=quantity(name),
        table=entry.table,
        address=entry.address - int(table.addresses == "one-based"),
        type=entry.type,
        byte_order=entry.byte_order or table.byte_order,
        word_order=entry.word_order or table.word_order,
        factor=entry.scale * unit.factor,
        offset=entry.offset * unit.factor + unit.offset,
        no_values=frozenset(_as_raw(entry.type, value) for value in entry.no_value),
        nan_is_no_value=any(math.isnan(value) for value in entry.no_value),
        highest_raw=math.inf if entry.highest_raw is None else entry.highest_raw,
    )


def _fits(type_name: TypeName, value: float) -> bool:
    if type_name == "f32":
        return not math.isfinite(value) or abs(value) <= LARGEST_F32
    bits = 8 * struct.calcsize(f">{STRUCT_LETTERS[type_name]}")
    lowest = -(2 ** (bits - 1)) if type_name.startswith("i") else 0
    return isinstance(value, int) and lowest <= value < 2**bits


def _as_raw(type_name: TypeName, value: float) -> float:
    """Return the raw value as decoding gives it: manuals write 0xFFFF for what an i16 reads as -1."""
    if type_name == "f32":
        return float(struct.unpack(">f", struct.pack(">f", value))[0])
    bits = 8 * struct.calcsize(f">{STRUCT_LETTERS[type_name]}")
    wrapped = type_name.startswith("i") and value >= 2 ** (bits - 1)
    return value - 2**bits if wrapped else value


def _faults(path: Path, text: str, document: _Document) -> dict[int, FaultMeaning]:
    meanings = {}
    for code, fault in document.fault.items():
        complaint = _fault_complaint(code, document.quantity.get("fault_code"))
        if complaint:
            raise RegisterMapError(f"{where(path, text, ('fault', code))}: {complaint}")
        meanings[int(code, 0)] = FaultMeaning(words=fault.words, check=fault.check)
    return meanings


def _fault_complaint(code: str, register: _Entry | None) -> str | None:
    try:
        number = int(code, 0)
    except ValueError:
        return f"a fault code is a whole number, not {code!r}"
    if number == 0:
        return "0 means that the drive reports no fault, so it has no meaning of its own"
    if register is not None and register.scale == 1 and not _fits(register.type, number):
        return f"fault code {code} can never come from a register of type {register.type}"
    return None
