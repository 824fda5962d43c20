"""From a drive's bytes to values in our units. A value that cannot be trusted is none, and says why."""

from __future__ import annotations

import math
from dataclasses import dataclass

from collector.reading import Quality
from collector.registers.blocks import Block
from collector.registers.register_map import BYTES_A_REGISTER, Point

Value = float | int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoded:
    """Values by quantity name, in the unit of the name; ``qualities`` holds only those that are not good."""

    values: dict[str, Value]
    qualities: dict[str, Quality]


def decode_block(block: Block, data: bytes) -> Decoded:
    """Decode the registers of a block, ``data`` being two bytes a register as they came over the wire.

    Raises
    ------
    ValueError
        When there are not exactly two bytes for each register of the block.
    """
    if len(data) != block.count * BYTES_A_REGISTER:
        raise ValueError(f"{block.count} registers are {2 * block.count} bytes, not {len(data)}")
    values: dict[str, Value] = {}
    qualities: dict[str, Quality] = {}
    for point in block.points:
        value, quality = _decode_point(point, data, (point.address - block.address) * BYTES_A_REGISTER)
        values[point.quantity.name] = value
        if quality:
            qualities[point.quantity.name] = quality
    return Decoded(values=values, qualities=qualities)


def raw_value(point: Point, data: bytes, start: int = 0) -> float | int:
    """Return what stands in the registers at byte ``start``, before scaling, in any of the four orders.

    With bytes named A (highest) to D: big/big is ABCD, byte order little is BADC, word order little CDAB,
    both little DCBA. A struct reads ABCD or DCBA; the other two are these with their registers reversed.
    """
    layout = point.layout
    raw: float | int
    if point.byte_order == point.word_order or layout.size == BYTES_A_REGISTER:
        (raw,) = layout.unpack_from(data, start)
        return raw
    registers = [data[place : place + 2] for place in range(start, start + layout.size, 2)]
    (raw,) = layout.unpack(b"".join(reversed(registers)))
    return raw


def _decode_point(point: Point, data: bytes, start: int) -> tuple[Value, Quality]:
    raw = raw_value(point, data, start)
    if raw in point.no_values or (point.nan_is_no_value and math.isnan(raw)):
        return None, Quality.NO_VALUE
    if raw > point.highest_raw:
        return None, Quality.IMPOSSIBLE
    value = raw * point.factor + point.offset
    # Written so that a value that is not a number falls through: every comparison with it is false.
    if not point.quantity.lowest <= value <= point.quantity.highest:
        return None, Quality.IMPOSSIBLE
    return (round(value) if point.quantity.value_type == "whole" else value), Quality.GOOD
