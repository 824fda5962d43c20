from __future__ import annotations

import math
import struct
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.quantities import quantity
from collector.reading import Quality
from collector.registers import Block, Point, decode_block, load_register_map, plan_blocks
from collector.registers.decode import raw_value
from collector.registers.register_map import Order, TypeName

ORDERS: list[tuple[Order, Order, tuple[int, ...]]] = [
    ("big", "big", (0, 1, 2, 3)),
    ("big", "little", (2, 3, 0, 1)),
    ("little", "big", (1, 0, 3, 2)),
    ("little", "little", (3, 2, 1, 0)),
]
"""Byte order, word order, and where the bytes A (highest) to D go on the wire: ABCD, CDAB, BADC, DCBA."""


def point(
    type_name: TypeName = "u16", byte: Order = "big", word: Order = "big", name: str = "head_m"
) -> Point:
    return Point(
        quantity=quantity(name), table="input", address=0, type=type_name, byte_order=byte, word_order=word
    )


def block_of(one: Point) -> Block:
    return Block(table=one.table, address=one.address, count=one.count, points=(one,))


def test_123456_79_in_four_orders_is_the_number_of_the_published_single() -> None:
    # IEEE 754 single of 123456.79 is 0x47F12065 (123456.7890625 exactly); worked by hand from the format.
    for byte, word, places in ORDERS:
        wire = bytes(bytes.fromhex("47F12065")[place] for place in places)
        assert raw_value(point("f32", byte, word), wire) == 123456.7890625


@pytest.mark.parametrize(("byte", "word", "places"), ORDERS)
@given(data=st.data())
def test_what_a_drive_encodes_is_what_is_decoded(
    byte: Order, word: Order, places: tuple[int, ...], data: st.DataObject
) -> None:
    type_name, letter, values = data.draw(
        st.sampled_from(
            [
                ("u32", ">I", st.integers(0, 2**32 - 1)),
                ("i32", ">i", st.integers(-(2**31), 2**31 - 1)),
                ("f32", ">f", st.floats(width=32, allow_nan=False)),
            ]
        )
    )
    value = data.draw(values)
    straight = struct.pack(letter, value)
    wire = bytes(straight[place] for place in places)
    assert raw_value(point(type_name, byte, word), wire) == value


@given(
    value=st.integers(0, 2**64 - 1),
    byte=st.sampled_from(["big", "little"]),
    word=st.sampled_from(["big", "little"]),
)
def test_four_registers_in_any_order(value: int, byte: Order, word: Order) -> None:
    registers = [value.to_bytes(8, "big")[place : place + 2] for place in (0, 2, 4, 6)]
    if byte == "little":
        registers = [register[::-1] for register in registers]
    if word == "little":
        registers.reverse()
    assert raw_value(point("u64", byte, word), b"".join(registers)) == value


@given(value=st.integers(-(2**15), 2**15 - 1), byte=st.sampled_from(["big", "little"]))
def test_one_signed_register_in_both_byte_orders(value: int, byte: Order) -> None:
    for word in ("big", "little"):
        assert raw_value(point("i16", byte, word), value.to_bytes(2, byte, signed=True)) == value


def test_a_value_is_scaled_into_our_unit(tmp_path: Path) -> None:
    path = tmp_path / "map.toml"
    path.write_text(
        '[map]\nname = "m"\naddresses = "zero-based"\n[quantity.head_m]\ntable = "input"\naddress = 0\n'
        'type = "u16"\nscale = 0.1\nunit = "ft"\nno_value = [0x7FFF]\n',
        encoding="utf-8",
    )
    (block,) = plan_blocks(load_register_map(path))
    # A foot is 0.3048 m exactly (NIST SP 811, appendix B).
    assert decode_block(block, (200).to_bytes(2, "big")).values["head_m"] == pytest.approx(20 * 0.3048)
    missing = decode_block(block, (0x7FFF).to_bytes(2, "big"))
    assert (missing.values["head_m"], missing.qualities["head_m"]) == (None, Quality.NO_VALUE)


@pytest.mark.parametrize(
    ("type_name", "no_value", "wire"),
    [
        ("u16", "0xFFFF", "FFFF"),
        ("i16", "0xFFFF", "FFFF"),
        ("i16", "-1", "FFFF"),
        ("i32", "0x80000000", "80000000"),
        ("u32", "0xFFFFFFFF", "FFFFFFFF"),
        ("u64", "0xFFFFFFFFFFFFFFFF", "FFFFFFFFFFFFFFFF"),
        ("f32", "nan", "7FC00000"),
        ("f32", "inf", "7F800000"),
        ("f32", "-999.9", "C479F99A"),
    ],
)
def test_what_the_manual_calls_no_reading_is_no_reading(
    tmp_path: Path, type_name: str, no_value: str, wire: str
) -> None:
    path = tmp_path / "map.toml"
    path.write_text(
        '[map]\nname = "m"\naddresses = "zero-based"\n[quantity.energy_kwh]\ntable = "input"\naddress = 0\n'
        f'type = "{type_name}"\nno_value = [{no_value}]\n',
        encoding="utf-8",
    )
    (block,) = plan_blocks(load_register_map(path))
    decoded = decode_block(block, bytes.fromhex(wire))
    assert (decoded.values, decoded.qualities) == ({"energy_kwh": None}, {"energy_kwh": Quality.NO_VALUE})


@pytest.mark.parametrize("raw", [math.nan, math.inf, -math.inf, 3.0e38, -51.0, 1001.0])
def test_a_value_that_no_pump_can_have_is_none_and_says_so(raw: float) -> None:
    decoded = decode_block(block_of(point("f32")), struct.pack(">f", raw))
    assert (decoded.values, decoded.qualities) == ({"head_m": None}, {"head_m": Quality.IMPOSSIBLE})


@pytest.mark.parametrize("raw", [-50.0, 0.0, 1000.0])
def test_a_value_at_its_limit_is_kept(raw: float) -> None:
    decoded = decode_block(block_of(point("f32")), struct.pack(">f", raw))
    assert (decoded.values, decoded.qualities) == ({"head_m": raw}, {})


def test_a_whole_quantity_stays_whole() -> None:
    value = decode_block(block_of(point("u32", name="starts")), (70_000).to_bytes(4, "big")).values["starts"]
    assert (value, type(value)) == (70_000, int)


def test_a_bad_value_takes_no_other_along() -> None:
    good, bad = point("f32"), Point(quantity=quantity("flow_m3h"), table="input", address=2, type="f32")
    both = Block(table="input", address=0, count=4, points=(good, bad))
    decoded = decode_block(both, struct.pack(">ff", 12.5, math.nan))
    assert decoded.values == {"head_m": 12.5, "flow_m3h": None}
    assert decoded.qualities == {"flow_m3h": Quality.IMPOSSIBLE}


PAIR = Block(table="input", address=0, count=3, points=(point("f32"), point("u16", name="power_w")))


@given(data=st.binary(min_size=6, max_size=6))
def test_any_bytes_become_finite_values_or_none(data: bytes) -> None:
    values = decode_block(PAIR, data).values.values()
    assert all(value is None or math.isfinite(value) for value in values)


@pytest.mark.parametrize("length", [0, 1, 5, 7, 12])
def test_too_few_or_too_many_bytes_are_refused(length: int) -> None:
    with pytest.raises(ValueError, match="3 registers are 6 bytes"):
        decode_block(PAIR, bytes(length))
