"""Drives on real sockets and a real pseudo-terminal, asked by an independent client and by raw bytes."""

from __future__ import annotations

import os
import select
import socket
import sys
import termios
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from pymodbus import FramerType
from pymodbus.client import ModbusTcpClient
from pymodbus.framer import FramerRTU

from simulator.lines import Disturbance, ModbusTcp, PacedLine, RtuOverTcp, SerialPort
from tests.simulator.lines.masters import drives, heard, request

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")


@contextmanager
def serial(baud: int = 9600, disturbance: Disturbance | None = None) -> Iterator[tuple[int, SerialPort]]:
    port = SerialPort(PacedLine(drives(), baud, disturbance, seed=3))
    port.start()
    descriptor = os.open(port.port, os.O_RDWR | os.O_NOCTTY)
    tty.setraw(descriptor, termios.TCSANOW)
    try:
        yield descriptor, port
    finally:
        os.close(descriptor)
        port.stop()


def test_modbus_tcp_answers_an_independent_client() -> None:
    server = ModbusTcp(drives())
    server.start()
    try:
        with ModbusTcpClient(server.host, port=server.port) as client:
            assert client.read_holding_registers(10, count=3, device_id=2).registers == [2000, 0xFFFF, 640]
            assert client.read_holding_registers(14, count=1, device_id=2).exception_code == 2
    finally:
        server.stop()


def test_requests_in_one_packet_and_in_pieces_are_all_answered() -> None:
    server = ModbusTcp(drives())
    server.start()
    frame = bytes.fromhex("000100000006" + "0103000A0001")
    try:
        with socket.create_connection((server.host, server.port), timeout=2) as link:
            link.sendall(frame + frame[:5])
            assert link.recv(100)[9:] == (1000).to_bytes(2, "big")
            link.sendall(frame[5:])
            assert link.recv(100)[9:] == (1000).to_bytes(2, "big")
    finally:
        server.stop()


def test_a_unit_that_is_not_there_or_off_the_bus_is_silent_and_the_others_answer() -> None:
    served = drives()
    served[2].on_bus = False
    server = ModbusTcp(served)
    server.start()
    try:
        with socket.create_connection((server.host, server.port), timeout=0.3) as link:
            for unit in ("02", "09"):
                link.sendall(bytes.fromhex(f"000100000006{unit}03000A0001"))
                with pytest.raises(TimeoutError):
                    link.recv(100)
            link.sendall(bytes.fromhex("0001000000060103000A0001"))
            assert link.recv(100)
    finally:
        server.stop()


def test_rtu_over_tcp_answers_an_independent_client() -> None:
    server = RtuOverTcp(PacedLine(drives(), 38400))
    server.start()
    try:
        with ModbusTcpClient(server.host, port=server.port, framer=FramerType.RTU) as client:
            assert client.read_holding_registers(10, count=1, device_id=1).registers == [1000]
            time.sleep(0.01)
            assert client.read_holding_registers(10, count=1, device_id=2).registers == [2000]
    finally:
        server.stop()


def test_two_drives_share_a_serial_line() -> None:
    with serial() as (descriptor, _):
        for unit in (1, 2):
            os.write(descriptor, request(unit))
            reply = heard(descriptor)
            assert reply[:5] == bytes([unit, 3, 6]) + (1000 * unit).to_bytes(2, "big")
            assert FramerRTU.check_CRC(reply[:-2], int.from_bytes(reply[-2:], "big"))


@pytest.mark.parametrize("baud", [9600, 38400])
def test_an_answer_never_comes_before_the_line_could_carry_it(baud: int) -> None:
    """8 characters there, 3.5 of silence (1.75 ms above 19200), 11 back, 11 bits each."""
    with serial(baud) as (descriptor, port):
        begin = time.monotonic()
        os.write(descriptor, request())
        reply = b""
        while len(reply) < 11:
            select.select([descriptor], [], [], 2.0)
            reply += os.read(descriptor, 100)
        took = time.monotonic() - begin
        silence = 3.5 * 11 / 9600 if baud == 9600 else 0.00175
        assert took >= 19 * 11 / baud + silence + port.line.drives[1].turn_around_s


def test_answers_come_in_pieces_as_from_a_wire() -> None:
    with serial(9600) as (descriptor, _):
        os.write(descriptor, request())
        pieces = []
        while select.select([descriptor], [], [], 0.4)[0]:
            pieces.append(os.read(descriptor, 100))
        assert len(pieces) > 1


def test_a_request_without_silence_before_it_is_not_understood() -> None:
    with serial(1200) as (descriptor, port):
        os.write(descriptor, request())
        reply = b""
        while len(reply) < 11:
            reply += os.read(descriptor, 100)
        os.write(descriptor, request())
        assert heard(descriptor, 0.6) == b""
        assert port.line.seen["too early"] == 1


def test_a_damaged_request_and_two_at_once_get_silence() -> None:
    with serial(19200) as (descriptor, port):
        os.write(descriptor, request()[:-1] + b"\x00")
        assert heard(descriptor) == b""
        os.write(descriptor, request(1) + request(2))
        assert heard(descriptor) == b""
        assert port.line.seen["damaged requests"] == 2


def reply_with(**shares: float) -> bytes:
    with serial(38400, Disturbance(**shares)) as (descriptor, port):  # type: ignore[arg-type]
        os.write(descriptor, request())
        reply = heard(descriptor, 0.5)
        for kind, share in shares.items():
            assert kind in ("late_s", "echo") or port.line.trouble.done[kind] == share
        return reply


def sound(frame: bytes) -> bool:
    return len(frame) > 4 and FramerRTU.check_CRC(frame[:-2], int.from_bytes(frame[-2:], "big"))


GOOD = bytes.fromhex("01030603E8FFFF0280")


def test_undisturbed_for_comparison() -> None:
    assert reply_with()[:-2] == GOOD


def test_noise_comes_before_the_answer() -> None:
    reply = reply_with(noise=1.0)
    assert len(reply) > 11
    assert reply.endswith(GOOD + reply[-2:])


def test_a_lost_and_a_damaged_byte_spoil_the_checksum() -> None:
    for kind, length in (("lost_byte", 10), ("damaged_byte", 11)):
        reply = reply_with(**{kind: 1.0})
        assert (len(reply), sound(reply)) == (length, False)


def test_wrong_answers_are_sound_frames() -> None:
    short = reply_with(short=1.0)
    assert (sound(short), short[2], len(short)) == (True, 4, 9)
    foreign = reply_with(foreign=1.0)
    assert (sound(foreign), foreign[0]) == (True, 2)
    other = reply_with(wrong_function=1.0)
    assert (sound(other), other[1]) == (True, 4)
    refused = reply_with(exception=1.0)
    assert (sound(refused), refused[1:3]) == (True, b"\x83\x06")


def test_silence_and_echo() -> None:
    assert reply_with(silence=1.0) == b""
    assert reply_with(echo=True)[:8] == request()


def test_a_late_answer_comes_whole_after_its_delay() -> None:
    begin = time.monotonic()
    reply = reply_with(late=1.0, late_s=0.3)
    assert reply[:-2] == GOOD
    assert time.monotonic() - begin > 0.3 + 0.5


def test_the_line_outlives_a_master_that_hangs_up() -> None:
    with serial(38400) as (descriptor, port):
        again = os.open(port.port, os.O_RDWR | os.O_NOCTTY)
        os.close(again)
        os.write(descriptor, request())
        assert heard(descriptor)[:-2] == GOOD


def test_the_same_seed_troubles_the_same_answers() -> None:
    def run() -> list[int]:
        with serial(115200, Disturbance(damaged_byte=0.5)) as (descriptor, _):
            lengths = []
            for _ in range(6):
                os.write(descriptor, request())
                lengths.append(hash(heard(descriptor, 0.25)))
            return lengths

    assert run() == run()
