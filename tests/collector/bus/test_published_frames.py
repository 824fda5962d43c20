"""Frames and checksums as published.

Sources: the checksum's check value 0x4B37 for "123456789" (catalogue of parametrised CRC algorithms,
CRC-16/MODBUS); request and answer examples of the application protocol V1.1b3, sections 6.1 to 6.4 and 6.21,
and the serial line specification V1.02, 2.5.1 and 6.2 (register values from memory; each frame was also
decoded by pymodbus). In the 43/14 example the length of "Product code XX" is 15, not the printed 13.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.register_message import ReadHoldingRegistersResponse

from collector.bus.crc import crc16, crc_is_right, with_crc
from collector.bus.line_setting import BITS_A_CHARACTER, silence_s
from collector.bus.pdu import identify_request, parse_identification, read_request
from collector.bus.rtu_frames import frames_in

IDENTITY = bytes.fromhex(
    "01 2B 0E 01 01 00 00 03 00 16 436F6D70616E79206964656E74696669636174696F6E"
    "01 0F 50726F6475637420636F6465205858 02 05 56322E3131 FC 21"
)


def test_the_check_value_of_the_catalogue() -> None:
    assert crc16(b"123456789") == 0x4B37


@pytest.mark.parametrize(
    "frame",
    [
        "02 07 41 12",
        "01 03 00 6B 00 03 74 17",
        "01 03 06 02 2B 00 00 00 64 05 7A",
        "11 03 00 6B 00 03 76 87",
        "11 03 06 AE 41 56 52 43 40 49 AD",
        "01 04 00 08 00 01 B0 08",
        "01 04 02 00 0A 39 37",
        "01 83 02 C0 F1",
        "01 84 04 42 C3",
        "0A 01 04 A1 00 01 AC 63",
        "0A 81 02 B0 53",
        "01 2B 0E 01 00 70 77",
    ],
)
def test_the_checksum_of_a_published_frame(frame: str) -> None:
    data = bytes.fromhex(frame)
    assert with_crc(data[:-2]) == data
    assert crc_is_right(data)


@pytest.mark.parametrize(
    ("table", "address", "count", "unit", "frame"),
    [
        ("holding", 0x6B, 3, 0x01, "01 03 00 6B 00 03 74 17"),
        ("holding", 0x6B, 3, 0x11, "11 03 00 6B 00 03 76 87"),
        ("input", 0x08, 1, 0x01, "01 04 00 08 00 01 B0 08"),
        ("coil", 0x4A1, 1, 0x0A, "0A 01 04 A1 00 01 AC 63"),
    ],
)
def test_a_request_is_built_as_published(table: str, address: int, count: int, unit: int, frame: str) -> None:
    assert with_crc(bytes((unit,)) + read_request(table, address, count).pdu) == bytes.fromhex(frame)


def test_an_identification_request_is_built_as_published() -> None:
    assert with_crc(b"\x01" + identify_request().pdu) == bytes.fromhex("01 2B 0E 01 00 70 77")


@pytest.mark.parametrize(
    ("frame", "unit", "shape", "is_exception"),
    [
        ("01 03 06 02 2B 00 00 00 64 05 7A", 1, (3, 6), False),
        ("11 03 06 AE 41 56 52 43 40 49 AD", 0x11, (3, 6), False),
        ("01 04 02 00 0A 39 37", 1, (4, 2), False),
        ("01 83 02 C0 F1", 1, (0x83, 2), True),
        ("01 84 04 42 C3", 1, (0x84, 4), True),
        ("0A 81 02 B0 53", 0x0A, (0x81, 2), True),
    ],
)
def test_a_published_answer_is_found_in_noise(
    frame: str, unit: int, shape: tuple[int, int], is_exception: bool
) -> None:
    data = bytes.fromhex("00 FF 01 03" + frame + "7E")
    (found,) = frames_in(data)
    assert (found.unit, found.shape, found.is_exception) == (unit, shape, is_exception)
    assert found.end == len(data) - 1


def test_the_published_identification_is_read() -> None:
    (found,) = frames_in(IDENTITY)
    part = parse_identification(found.pdu)
    assert part.objects == {0: "Company identification", 1: "Product code XX", 2: "V2.11"}
    assert part.next_object is None


@pytest.mark.parametrize(
    ("baud", "milliseconds"), [(9_600, 4.0104), (19_200, 2.0052), (38_400, 1.75), (115_200, 1.75)]
)
def test_the_silence_between_frames_is_the_published_one(baud: int, milliseconds: float) -> None:
    assert silence_s(baud) * 1000 == pytest.approx(milliseconds, abs=5e-5)


@pytest.mark.parametrize(
    ("baud", "milliseconds"), [(9_600, 60.7), (19_200, 30.4), (38_400, 15.2), (115_200, 5.1)]
)
def test_twenty_registers_take_the_line_as_long_as_worked_out(baud: int, milliseconds: float) -> None:
    # 8 characters out, 45 back, eleven bits each: worked by hand.
    request = len(with_crc(b"\x01" + read_request("holding", 0, 20).pdu))
    answer = 1 + 2 + read_request("holding", 0, 20).byte_count + 2
    assert (request + answer) * BITS_A_CHARACTER / baud * 1000 == pytest.approx(milliseconds, abs=0.05)


@given(data=st.binary(min_size=1, max_size=252))
def test_the_checksum_agrees_with_an_independent_library(data: bytes) -> None:
    # That library returns the two bytes already in the order of the wire.
    assert with_crc(data)[-2:] == FramerRTU.compute_CRC(data).to_bytes(2, "big")


@given(unit=st.integers(1, 247), values=st.lists(st.integers(0, 0xFFFF), min_size=1, max_size=125))
def test_an_answer_built_by_an_independent_library_is_read(unit: int, values: list[int]) -> None:
    answer = ReadHoldingRegistersResponse(registers=values, dev_id=unit)
    (found,) = frames_in(FramerRTU(DecodePDU(False)).buildFrame(answer))
    assert (found.unit, found.shape) == (unit, (3, 2 * len(values)))
    assert found.pdu[2:] == b"".join(value.to_bytes(2, "big") for value in values)


@given(count=st.integers(1, 125), address=st.integers(0, 0xFF00), table=st.sampled_from(["holding", "input"]))
def test_a_request_is_understood_by_an_independent_library(count: int, address: int, table: str) -> None:
    request = DecodePDU(True).decode(read_request(table, address, count).pdu)
    assert request is not None
    assert (request.address, request.count) == (address, count)


@given(place=st.integers(0, 10 * 8 - 1))
def test_no_single_flipped_bit_is_taken_for_an_answer(place: int) -> None:
    frame = bytearray.fromhex("01 03 06 02 2B 00 00 00 64 05 7A")
    frame[place // 8] ^= 1 << place % 8
    assert list(frames_in(frame)) == []


@settings(max_examples=4000, deadline=None)
@given(pdus=st.lists(st.binary(min_size=1, max_size=60), max_size=4), noise=st.binary(max_size=20))
def test_random_answers_with_good_checksums_break_nothing(pdus: list[bytes], noise: bytes) -> None:
    data = noise.join(with_crc(b"\x01" + pdu) for pdu in pdus)
    for frame in frames_in(data):
        assert 5 <= frame.end <= len(data)
        if frame.pdu[0] == 43:
            assert len(parse_identification(frame.pdu).objects) <= frame.pdu[6]


@pytest.mark.parametrize(
    ("table", "address", "count"), [("holding", 0, 0), ("holding", 0, 126), ("coil", 0, 2001)]
)
def test_more_than_an_answer_can_carry_is_not_asked(table: str, address: int, count: int) -> None:
    with pytest.raises(ValueError, match="one request reads 1 to"):
        read_request(table, address, count)


def test_an_address_beyond_the_last_is_not_asked() -> None:
    assert read_request("holding", 65_535, 1).address == 65_535
    with pytest.raises(ValueError, match="addresses are 0 to 65535"):
        read_request("holding", 65_535, 2)
