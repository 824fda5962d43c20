"""A drive's registers: which quantity lies where, in which type, order, scale and unit."""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

Table = Literal["input", "holding"]
ValueType = Literal["u16", "i16", "u32", "i32", "f32"]
Order = Literal["ABCD", "CDAB", "BADC", "DCBA"]
"""Where the bytes of a 32-bit value go, A the highest: two registers, the first one first."""

_STRUCT: Final = {"u16": ">H", "i16": ">h", "u32": ">I", "i32": ">i", "f32": ">f"}
_LIMITS: Final = {
    "u16": (0, 2**16 - 1),
    "i16": (-(2**15), 2**15 - 1),
    "u32": (0, 2**32 - 1),
    "i32": (-(2**31), 2**31 - 1),
}

# From the unit of the canonical name to the drive's: factor and offset. Exact by the definitions of the
# US gallon (231 in3), the foot (0.3048 m) and the horsepower (550 ft lbf/s); a head as pressure is that of
# water at 20 C, 998.2 kg/m3 (common practice).
_PASCALS_A_METRE: Final = 998.2 * 9.80665
_PASCALS_A_PSI: Final = 0.45359237 * 9.80665 / 0.0254**2
_CONVERSIONS: Final = {
    "gpm": (1000.0 / 3.785411784 / 60.0, 0.0),
    "L/s": (1.0 / 3.6, 0.0),
    "ft": (1.0 / 0.3048, 0.0),
    "psi": (_PASCALS_A_METRE / _PASCALS_A_PSI, 0.0),
    "kPa": (_PASCALS_A_METRE / 1000, 0.0),
    "kW": (1e-3, 0.0),
    "hp": (1 / 745.6998715822702, 0.0),
    "F": (1.8, 32.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Register:
    """One value of a drive: ``value in unit = raw * scale``; ``address`` counts from 0."""

    quantity: str
    address: int
    table: Table = "holding"
    type: ValueType = "u16"
    scale: float = 1.0
    unit: str = ""
    no_reading: int | None = None
    """The raw pattern (all bits of the value, highest byte first) that means "no reading"."""

    @property
    def words(self) -> int:
        """Return how many registers the value takes."""
        return struct.calcsize(_STRUCT[self.type]) // 2


@dataclass(frozen=True, slots=True, kw_only=True)
class DriveMap:
    """The register table of one kind of drive, with the words its paper manual would use."""

    name: str
    words: str
    order: Order
    one_based: bool
    registers: tuple[Register, ...]
    identification: tuple[str, str, str]


Image = dict[tuple[Table, int], int]
"""What a drive would answer: the 16-bit word at each table and address from 0."""


def image_of(drive_map: DriveMap, values: Mapping[str, float]) -> Image:
    """Return the words of all registers for values in canonical units; NaN or absent is "no reading"."""
    image: Image = {}
    for register in drive_map.registers:
        raw = _raw_bytes(register, values.get(register.quantity, math.nan))
        for place, word in enumerate(_ordered(raw, drive_map.order)):
            image[(register.table, register.address + place)] = word
    return image


def in_unit(value: float, unit: str) -> float:
    """Return a value of a canonical name in a drive's or a panel's unit.

    >>> round(in_unit(10.0, "ft"), 2), round(in_unit(10.0, "psi"), 2)
    (32.81, 14.2)
    """
    factor, offset = _CONVERSIONS.get(unit, (1.0, 0.0))
    return value * factor + offset


def _raw_bytes(register: Register, value: float) -> bytes:
    if math.isnan(value):
        return _no_reading(register)
    scaled = in_unit(value, register.unit) / register.scale
    if register.type == "f32":
        return struct.pack(">f", scaled)
    lowest, highest = _LIMITS[register.type]
    return struct.pack(_STRUCT[register.type], min(max(round(scaled), lowest), highest))


def _no_reading(register: Register) -> bytes:
    """Return the pattern of "no reading"; a register without one shows zero, as plain drives do."""
    return (register.no_reading or 0).to_bytes(2 * register.words, "big")


def _ordered(raw: bytes, order: Order) -> list[int]:
    """Return the words of a value in the drive's order."""
    pairs = [raw[place : place + 2] for place in range(0, len(raw), 2)]
    if order in ("CDAB", "DCBA"):
        pairs.reverse()
    if order in ("BADC", "DCBA"):
        pairs = [pair[::-1] for pair in pairs]
    return [int.from_bytes(pair, "big") for pair in pairs]
