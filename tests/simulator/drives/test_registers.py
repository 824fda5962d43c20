"""Register tables: published byte patterns, all four orders, and "no reading"."""

from __future__ import annotations

import itertools
import math
import struct

import pytest
from pymodbus.pdu.mei_message import ReadDeviceInformationRequest
from pymodbus.pdu.register_message import (
    ReadHoldingRegistersRequest,
    ReadInputRegistersRequest,
    WriteSingleRegisterRequest,
)

from simulator.drives import MAPS, Drive, DriveMap, Register, image_of, manuals
from simulator.drives.registers import Order

VALUES = {
    "speed_rpm": 2903.0, "power_w": 1187.0, "flow_m3h": 32.2, "head_m": 8.4, "fluid_temperature_c": 55.3,
    "drive_temperature_c": 41.0, "current_a": 2.07, "energy_kwh": 70_000.4, "run_time_h": 12_345.0,
    "starts": 77.0, "speed_command_pct": 63.4, "status_word": 5.0, "fault_code": 21.0,
}  # fmt: skip


def one(order: Order, kind: str, value: float, **more: object) -> list[int]:
    register = Register(quantity="x", address=0, type=kind, **more)  # type: ignore[arg-type]
    drive_map = DriveMap(
        name="t", words="", order=order, one_based=False, registers=(register,), identification=("", "", "")
    )
    return list(image_of(drive_map, {"x": value}).values())


@pytest.mark.parametrize(
    ("order", "words"),
    [
        ("ABCD", [0x42F6, 0xE979]),
        ("CDAB", [0xE979, 0x42F6]),
        ("BADC", [0xF642, 0x79E9]),
        ("DCBA", [0x79E9, 0xF642]),
    ],
)
def test_a_float_in_each_order(order: Order, words: list[int]) -> None:
    """123.456 is 0x42F6E979 as IEEE 754 binary32 (the usual worked example)."""
    assert one(order, "f32", 123.456) == words


def test_values_beyond_the_type_stop_at_its_end() -> None:
    assert one("ABCD", "u16", 70_000.0) == [0xFFFF]
    assert one("ABCD", "u16", -3.0) == [0]
    assert one("ABCD", "i16", -3.0) == [0xFFFD]


def test_no_reading_is_the_tables_pattern() -> None:
    assert one("ABCD", "i16", math.nan, no_reading=0x7FFF) == [0x7FFF]
    assert one("CDAB", "i32", math.nan, no_reading=0x7FFFFFFF) == [0xFFFF, 0x7FFF]
    assert math.isnan(
        struct.unpack(">f", struct.pack(">HH", *one("ABCD", "f32", math.nan, no_reading=0x7FC00000)))[0]
    )


def test_us_units_are_those_of_their_definitions() -> None:
    """1 US gallon is 231 in3 and 1 ft 0.3048 m (NIST SP 811): 22.7125 m3/h is 100 gpm, 3.048 m is 10 ft."""
    assert one("ABCD", "u16", 22.71247, unit="gpm", scale=0.1) == [1000]
    assert one("ABCD", "u16", 3.048, unit="ft", scale=0.1) == [100]
    assert one("ABCD", "i16", 100.0, unit="F") == [212]


@pytest.mark.parametrize("name", MAPS)
def test_no_two_values_share_a_register_and_some_lie_apart(name: str) -> None:
    drive_map = MAPS[name]
    image = image_of(drive_map, VALUES)
    assert len(image) == sum(register.words for register in drive_map.registers)
    addresses = sorted(address for _, address in image)
    assert any(later - sooner > 1 for sooner, later in itertools.pairwise(addresses))


def test_the_tables_differ_in_all_that_real_ones_differ_in() -> None:
    assert {drive_map.order for drive_map in MAPS.values()} == {"ABCD", "CDAB", "BADC", "DCBA"}
    registers = [register for drive_map in MAPS.values() for register in drive_map.registers]
    assert {register.type for register in registers} == {"u16", "i16", "u32", "i32", "f32"}
    assert {register.table for register in registers} == {"input", "holding"}
    assert {drive_map.one_based for drive_map in MAPS.values()} == {True, False}
    assert {"gpm", "ft", "F", "m3/h", "L/s"} <= {register.unit for register in registers}


def test_the_manual_counts_from_1_where_it_says_so() -> None:
    text = manuals()
    assert "      11  holding  u16        1 rpm      0xFFFF  speed_rpm" in text
    assert "     100  input    f32        1 rpm  0x7FC00000  speed_rpm" in text


def drive() -> Drive:
    made = Drive(7, MAPS["A"])
    made.show(VALUES)
    return made


def test_a_drive_answers_a_block_in_address_order() -> None:
    reply = drive().answer(ReadHoldingRegistersRequest(address=10, count=4, dev_id=7))
    assert reply is not None
    assert list(reply.registers) == [2903, 634, 1187, 207]


def test_a_hole_or_the_other_table_is_an_illegal_address() -> None:
    for request in (
        ReadHoldingRegistersRequest(address=13, count=2, dev_id=7),
        ReadInputRegistersRequest(address=10, count=1, dev_id=7),
    ):
        reply = drive().answer(request)
        assert reply is not None
        assert (reply.function_code & 0x80, reply.exception_code) == (0x80, 2)


def test_a_write_is_refused_and_noted() -> None:
    asked = drive()
    reply = asked.answer(WriteSingleRegisterRequest(address=10, registers=[1], dev_id=7))
    assert reply is not None
    assert (reply.function_code, reply.exception_code) == (0x86, 1)
    assert asked.asked == {6: 1}


def test_identification_is_of_our_own_invention_and_each_drives_own() -> None:
    reply = drive().answer(ReadDeviceInformationRequest(read_code=1, dev_id=7))
    assert reply is not None
    assert reply.information[1] == b"A-tenths"
    assert {m.identification[0] for m in MAPS.values()} == {f"Simulated drive {name}" for name in MAPS}


def test_a_drive_off_the_bus_says_nothing() -> None:
    asked = drive()
    asked.on_bus = False
    assert asked.answer(ReadHoldingRegistersRequest(address=10, count=1, dev_id=7)) is None


@pytest.mark.parametrize(
    ("pdu", "code"),
    [
        ("03 000A 0000", 3),  # no register at all
        ("04 000A 007E", 3),  # 126 registers, one more than an answer can carry
        ("03 000A", 3),  # no count
        ("03 000E 0001", 2),
        ("06 000A 0001", 1),
        ("64 00", 1),  # a function that nobody knows
    ],
)
def test_a_request_that_cannot_be_met_is_refused_with_the_exception_of_the_protocol(
    pdu: str, code: int
) -> None:
    """Application protocol V1.1b3, section 7: 1 function, 2 address, 3 value (from memory)."""
    reply = drive().answer_bytes(bytes.fromhex(pdu), transaction_id=9)
    assert reply is not None
    assert (reply.function_code, reply.exception_code) == (int(pdu[:2], 16) | 0x80, code)
    assert (reply.dev_id, reply.transaction_id) == (7, 9)


def test_a_drive_off_the_bus_refuses_nothing_either() -> None:
    asked = drive()
    asked.on_bus = False
    assert asked.answer_bytes(bytes.fromhex("03 000A 0000")) is None
