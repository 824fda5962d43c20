"""What can go wrong with Modbus TCP answers, seen from a raw socket."""

from __future__ import annotations

import socket
import time

import pytest

from simulator.lines import Disturbance, ModbusTcp
from tests.simulator.lines.masters import drives, heard

ASK = bytes.fromhex("0007 0000 0006 01 03 000A 0003")
GOOD = bytes.fromhex("0007 0000 0009 01 03 06 03E8 FFFF 0280")


def came(disturbance: Disturbance, ask: bytes = ASK) -> tuple[bytes, dict[str, int]]:
    server = ModbusTcp(drives(), disturbance, seed=3)
    server.start()
    try:
        with socket.create_connection((server.host, server.port), timeout=2) as link:
            link.sendall(ask)
            return heard(link.fileno(), 0.3), dict(+server.trouble.done)
    finally:
        server.stop()


@pytest.mark.parametrize(
    ("kind", "frame"),
    [
        ("silence", ""),
        ("short", "0007 0000 0007 01 03 04 03E8 FFFF"),
        ("foreign", "0007 0000 0009 02 03 06 03E8 FFFF 0280"),
        ("wrong_function", "0007 0000 0009 01 04 06 03E8 FFFF 0280"),
        ("exception", "0007 0000 0003 01 83 06"),
    ],
)
def test_each_kind_comes_in_a_sound_frame_and_is_counted(kind: str, frame: str) -> None:
    assert came(Disturbance(**{kind: 1.0})) == (bytes.fromhex(frame), {kind: 1})


def test_undisturbed_for_comparison() -> None:
    assert came(Disturbance()) == (GOOD, {})


def test_what_tcp_mends_itself_is_not_done_here() -> None:
    assert came(Disturbance(noise=1.0, lost_byte=1.0, damaged_byte=1.0, echo=True)) == (GOOD, {})


def test_an_answer_in_single_bytes_is_whole() -> None:
    assert came(Disturbance(split=1.0)) == (GOOD, {"split": 1})


def test_a_late_answer_keeps_its_number() -> None:
    begin = time.monotonic()
    assert came(Disturbance(late=1.0, late_s=0.2)) == (GOOD, {"late": 1})
    assert time.monotonic() - begin > 0.2 + 0.3


def test_a_count_out_of_range_is_refused_as_a_value() -> None:
    for count in ("0000", "007E", "FFFF"):
        ask = bytes.fromhex("0007 0000 0006 01 03 000A" + count)
        assert came(Disturbance(), ask)[0] == bytes.fromhex("0007 0000 0003 01 83 03")


def test_another_protocol_ends_the_connection() -> None:
    server = ModbusTcp(drives())
    server.start()
    try:
        with socket.create_connection((server.host, server.port), timeout=2) as link:
            link.sendall(b"GET / HTTP/1.1\r\n\r\n")
            assert link.recv(100) == b""
    finally:
        server.stop()
