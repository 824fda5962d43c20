"""The gateway keeps the serial line's silences, so that its network client need not."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager

from simulator.lines import Disturbance, PacedLine, RtuOverTcp
from tests.simulator.lines.masters import answer, drives, framed, heard, request


@contextmanager
def gateway(
    baud: int = 19_200, disturbance: Disturbance | None = None
) -> Iterator[tuple[socket.socket, PacedLine]]:
    server = RtuOverTcp(PacedLine(drives(), baud, disturbance, seed=3))
    server.start()
    try:
        with socket.create_connection((server.host, server.port), timeout=2) as link:
            yield link, server.line
    finally:
        server.stop()


def test_a_request_right_behind_an_answer_waits_and_is_answered() -> None:
    with gateway() as (link, line):
        for turn in range(20):
            unit = 1 + turn % 2
            link.sendall(request(unit, count=1))
            reply = b""
            while len(reply) < 7:
                reply += link.recv(100)
            assert reply == answer(unit, 1000 * unit)
        assert line.seen == {"requests": 20, "answers": 20}


def test_two_requests_in_one_packet_are_answered_one_after_the_other() -> None:
    with gateway() as (link, _):
        link.sendall(request(1, count=1) + request(2, count=1))
        assert heard(link.fileno()) == answer(1, 1000) + answer(2, 2000)


def test_a_second_request_is_kept_until_the_first_is_answered() -> None:
    """9600 baud: 8 + 7 characters, twice, and what lies between: no faster than the line."""
    with gateway(9600) as (link, line):
        begin = time.monotonic()
        link.sendall(request(1, count=1))
        link.sendall(request(1, count=1))
        reply = b""
        while len(reply) < 14:
            reply += link.recv(100)
        assert time.monotonic() - begin >= 2 * 15 * line.character_s + 3 * line.silence_s
        assert reply == 2 * answer(1, 1000)


def test_a_request_in_two_packets_is_one_request() -> None:
    with gateway() as (link, line):
        link.sendall(request()[:3])
        time.sleep(0.01)
        link.sendall(request()[3:])
        assert heard(link.fileno()) == answer(1, 1000, 0xFFFF, 640)
        assert line.seen["requests"] == 1


def test_what_is_no_request_gets_silence_and_the_next_one_its_answer() -> None:
    with gateway() as (link, line):
        for bad in (request()[:-1] + b"\x00", request()[:5], b"\x01", b"\x01\x64\x00\x00\x00\x00"):
            link.sendall(bad)
            assert heard(link.fileno(), 0.15) == b""
        assert line.seen["damaged requests"] == 4
        link.sendall(request(count=1))
        assert heard(link.fileno()) == answer(1, 1000)


def test_an_unknown_function_is_refused_as_such() -> None:
    with gateway() as (link, _):
        link.sendall(framed(b"\x01\x64\x00"))
        assert heard(link.fileno()) == framed(b"\x01\xe4\x01")


def test_a_late_answer_holds_up_no_other_drive() -> None:
    with gateway(disturbance=Disturbance(late=1.0, late_s=0.3)) as (link, line):
        link.sendall(request(1, count=1))
        time.sleep(0.1)
        begin = time.monotonic()
        line.trouble.disturbance = Disturbance()
        link.sendall(request(2, count=1))
        assert link.recv(100)[:1] == b"\x02"
        assert time.monotonic() - begin < 0.2
        assert heard(link.fileno(), 0.6).endswith(answer(1, 1000))
