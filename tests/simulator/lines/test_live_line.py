"""A shared line behind a real pseudo-terminal, and behind the stand-in for what a terminal can't show.

Tried on the terminal: speed, stop bits, what comes and what is sent. Linux drops a pseudo-terminal's parity,
so parity and the marks of bad characters are tried on the stand-in, which takes ``serial.Serial``'s place.
"""

from __future__ import annotations

import fcntl
import os
import sys
import termios
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
import serial
from pymodbus import FramerType
from pymodbus.client import ModbusSerialClient

from simulator.lines import ForeignMaster, LineSetting, LiveLine, SharedLine, running
from tests.simulator.lines.masters import answer, drives, request

if sys.platform == "win32":
    pytest.skip("pseudo-terminals", allow_module_level=True)

from simulator.lines.stand_in import StandIn, StandInEnd
from simulator.lines.terminal_end import TerminalEnd

EVEN = LineSetting(19_200, "E", 1)
POLLS = ForeignMaster(reads=[(1, 3, 10, 3), (2, 3, 10, 1)], every_s=0.2, timeout_s=0.1)
ONE = request(1) + answer(1, 1000, 0xFFFF, 640)


def line(*masters: ForeignMaster, setting: LineSetting = EVEN) -> SharedLine:
    return SharedLine(setting, drives().values(), masters)


@contextmanager
def terminal(shared: SharedLine, lump_s: float = 0.0) -> Iterator[tuple[str, LiveLine]]:
    end = TerminalEnd()
    with running(shared, end, lump_s) as live:
        yield end.port, live


@contextmanager
def stand_in(shared: SharedLine) -> Iterator[Callable[..., StandIn]]:
    end = StandInEnd()
    with running(shared, end):
        yield end.open


def until(holds: Callable[[], bool], within_s: float = 5.0) -> bool:
    deadline = time.monotonic() + within_s
    while not holds() and time.monotonic() < deadline:
        time.sleep(0.01)
    return holds()


def test_an_independent_client_reads_a_drive() -> None:
    # This client sets the port up twice at once, and with parity the C library refuses the second time.
    plain = LineSetting(38_400, "N", 1)
    with (
        terminal(line(setting=plain)) as (port, live),
        ModbusSerialClient(port, framer=FramerType.RTU, baudrate=38_400, parity="N", timeout=2) as client,
    ):
        assert client.read_holding_registers(10, count=3, device_id=2).registers == [2000, 0xFFFF, 640]
        assert live.line.port_bytes_sent == 8


def test_a_port_opened_only_to_read_hears_a_master_and_sends_nothing() -> None:
    with terminal(line(POLLS)) as (port, live):
        descriptor = os.open(port, os.O_RDONLY | os.O_NOCTTY)
        heard = b""
        while len(heard) < 200:
            heard += os.read(descriptor, 100)
        os.close(descriptor)
        assert ONE in heard
        assert live.line.port_bytes_sent == 0


@pytest.mark.parametrize("setting", [EVEN, LineSetting(9600, "N", 2), LineSetting(14_400, "E", 1)])
def test_the_speed_and_stop_bits_that_a_program_sets_are_the_ports(setting: LineSetting) -> None:
    stops = setting.stop_bits
    with terminal(line(setting=setting)) as (port, live), serial.Serial(port, 38_400, stopbits=stops) as ours:
        wrong = LineSetting(38_400, setting.parity, stops)
        assert until(lambda: live.line.port_setting == wrong)
        ours.baudrate = setting.baud
        assert until(lambda: live.line.port_setting == setting)


def test_at_the_wrong_speed_nothing_makes_sense_and_at_the_right_one_it_does_at_once() -> None:
    with terminal(line(POLLS)) as (port, _), serial.Serial(port, 9600, parity="E", timeout=5) as ours:
        assert ONE not in ours.read(100)
        ours.baudrate = 19_200
        assert ONE in ours.read(200)


def test_the_parity_may_be_changed_again_and_again_though_a_terminal_does_not_show_it() -> None:
    with terminal(line(POLLS)) as (port, _), serial.Serial(port, 19_200, parity="E", timeout=5) as ours:
        for parity in "ONEON":
            ours.parity = parity
            time.sleep(0.05)
        assert ONE in ours.read(200)


def test_a_program_that_comes_later_finds_nothing_old() -> None:
    shared = line()
    with terminal(shared) as (port, _):
        with serial.Serial(port, 19_200, parity="E", timeout=2) as first:
            first.write(request())
            assert until(lambda: first.in_waiting == 11)
        time.sleep(0.1)
        descriptor = os.open(port, os.O_RDONLY | os.O_NOCTTY)
        waiting = fcntl.ioctl(descriptor, termios.FIONREAD, bytes(4))
        os.close(descriptor)
        assert waiting == bytes(4)


def test_an_adapter_that_hands_over_seldom_gives_few_and_large_lumps() -> None:
    with terminal(line(POLLS), lump_s=0.05) as (port, _), serial.Serial(port, 19_200, timeout=5) as ours:
        heard, lumps = b"", 0
        while len(heard) < 200:
            heard += os.read(ours.fileno(), 4096) if until(lambda: ours.in_waiting > 0) else b""
            lumps += 1
    assert ONE in heard
    assert lumps < 30


def test_the_lines_clock_goes_with_the_monotonic_one() -> None:
    with terminal(line(POLLS)) as (_, live):
        assert until(lambda: len(live.line.exchanges) > 2)
        with live.lock:
            newest = live.line.exchanges[-1].request.begins_s + live.begun_s
        assert 0 <= time.monotonic() - newest < 5


def test_on_the_stand_in_the_wrong_parity_marks_every_character() -> None:
    with stand_in(line(POLLS)) as open_port, open_port(baudrate=19_200, parity="O", timeout=5) as ours:
        ours.marks_bad_characters = True
        ours.reset_input_buffer()
        heard = ours.read(60)
        places = range(heard.index(b"\xff\x00"), len(heard) - 3, 3)
        assert {heard[place : place + 2] for place in places} == {b"\xff\x00"}


def test_on_the_stand_in_a_good_255_is_doubled_when_marks_are_asked_for() -> None:
    with stand_in(line()) as open_port, open_port(baudrate=19_200, parity="E", timeout=2) as ours:
        ours.write(request())
        assert ours.read(11) == answer(1, 1000, 0xFFFF, 640)
        ours.marks_bad_characters = True
        time.sleep(0.05)
        ours.write(request())
        assert ours.read(13) == answer(1, 1000, 0xFFFF, 640).replace(b"\xff", b"\xff\xff")


def test_on_the_stand_in_a_request_with_the_wrong_parity_gets_no_answer() -> None:
    with stand_in(line()) as open_port:
        for parity, is_answered in (("O", False), ("N", False), ("E", True)):
            with open_port(baudrate=19_200, parity=parity, timeout=0.5) as ours:
                ours.write(request(count=1))
                assert (ours.read(7) == answer(1, 1000)) is is_answered


def test_the_stand_in_behaves_as_a_port_does() -> None:
    with stand_in(line()) as open_port:
        ours = open_port("a port", 19_200, parity="E", timeout=0.2)
        with pytest.raises(serial.SerialException, match="a port"):
            open_port("a port", 19_200)
        begin = time.monotonic()
        assert ours.read(5) == b""
        assert time.monotonic() - begin >= 0.2
        assert ours.write(request(count=1)) == 8
        assert until(lambda: ours.in_waiting == 7)
        ours.reset_input_buffer()
        assert ours.in_waiting == 0
        ours.close()
        with pytest.raises(serial.PortNotOpenError):
            ours.read()


def test_a_terminal_keeps_speed_and_stop_bits_and_drops_parity() -> None:
    """Why the stand-in is there: should Linux begin to keep the parity, this fails and it can go."""
    ours, theirs = os.openpty()
    settings = termios.tcgetattr(theirs)
    settings[2] |= termios.PARENB | termios.CSTOPB
    settings[4] = settings[5] = termios.B9600
    termios.tcsetattr(theirs, termios.TCSANOW, settings)
    kept = termios.tcgetattr(theirs)
    for descriptor in (ours, theirs):
        os.close(descriptor)
    assert (kept[2] & termios.PARENB, bool(kept[2] & termios.CSTOPB), kept[5]) == (0, True, termios.B9600)
