"""A register map as the reader uses it: zero-based addresses, one factor and one offset to our unit."""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from collector.quantities import Quantity

Table = Literal["input", "holding"]
Order = Literal["big", "little"]
TypeName = Literal["u16", "i16", "u32", "i32", "u64", "f32", "bits"]

STRUCT_LETTERS: Final[dict[str, str]] = {
    "u16": "H",
    "bits": "H",
    "i16": "h",
    "u32": "I",
    "i32": "i",
    "u64": "Q",
    "f32": "f",
}
BYTES_A_REGISTER: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """Where one quantity stands: ``ours = raw * factor + offset``.

    ``address`` is zero-based, as it goes over the wire; ``no_values`` are raw values, before scaling, that
    mean "no reading". A raw value above ``highest_raw`` is not believed: what it would mean is not known, as
    where u16 and i16 have not been told apart yet.
    """

    quantity: Quantity
    table: Table
    address: int
    type: TypeName
    byte_order: Order = "big"
    word_order: Order = "big"
    factor: float = 1.0
    offset: float = 0.0
    no_values: frozenset[float] = frozenset()
    nan_is_no_value: bool = False
    highest_raw: float = math.inf

    layout: struct.Struct = field(init=False, compare=False, repr=False)
    """How the bytes become a raw value, once their registers are in the order of ``byte_order``."""

    def __post_init__(self) -> None:
        sign = "<" if self.byte_order == "little" else ">"
        object.__setattr__(self, "layout", struct.Struct(sign + STRUCT_LETTERS[self.type]))

    @property
    def count(self) -> int:
        """How many registers it takes [-]."""
        return self.layout.size // BYTES_A_REGISTER

    @property
    def end(self) -> int:
        """The address after its last register."""
        return self.address + self.count


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultMeaning:
    """What the manual says a fault code means and what to check, as typed in by the tech."""

    words: str
    check: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterMap:
    """The points of one kind of drive, and how they may be read together.

    ``max_block`` [registers] is the longest request the drive takes, ``largest_hole`` [registers] how many
    unasked registers may be read along to save a request.
    """

    name: str
    points: tuple[Point, ...]
    faults: Mapping[int, FaultMeaning]
    max_block: int = 60
    largest_hole: int = 8
