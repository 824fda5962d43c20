"""Listening on real pseudo-terminals: nothing is sent, and the port is left as it was found.

Speed and stop bits are tried here on a terminal whose far end delivers what a UART of the chosen settings
would. Linux drops the parity bit on a pseudo-terminal and no character can be marked as bad on it, so parity
is tried in ``test_setting_finder``; the marks themselves are tried on the bytes that the system documents.
"""

from __future__ import annotations

import fcntl
import os
import pty
import struct
import sys
import termios
import threading
import tty
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
import serial

from collector.bus.line_setting import parse_line_setting
from collector.listening import PortTrouble, listen
from collector.listening.port import Lump, Marks
from collector.listening.read_only_port import ReadOnlyPort
from simulator.lines import running
from simulator.lines.stand_in import StandInEnd
from simulator.lines.terminal_end import TerminalEnd
from tests.collector.listening.lines import READS, polled_line


@pytest.fixture
def terminal() -> Iterator[tuple[int, str]]:
    """The far end of a pseudo-terminal and the path of its near one."""
    far, near = pty.openpty()
    tty.setraw(near)
    yield far, os.ttyname(near)
    os.close(near)
    os.close(far)


@pytest.mark.parametrize("words", ["14400 8N1", "115200 8E1"])
def test_a_line_on_a_terminal_is_found_and_pictured_and_nothing_is_sent(words: str) -> None:
    setting = parse_line_setting(words)
    line, end = polled_line(setting, every_s=0.25), TerminalEnd()
    with running(line, end):
        seen = listen(end.port, None, 2.0, threading.Event())
    assert line.port_bytes_sent == 0
    assert seen.setting is not None
    assert seen.setting.baud == setting.baud
    # Parity is out of sight here: sure is only what the time of the characters tells, 8N1.
    assert seen.setting_is_sure <= (seen.setting == setting)
    assert {unit.unit for unit in seen.units} == {1, 5, 9, 30}


def test_a_known_setting_is_taken_at_its_word() -> None:
    setting = parse_line_setting("19200 8E1")
    line, end = polled_line(setting, every_s=0.2, reads=READS[:2]), TerminalEnd()
    with running(line, end):
        seen = listen(end.port, setting, 1.2, threading.Event())
    assert (line.port_bytes_sent, seen.setting, seen.setting_is_sure) == (0, setting, True)
    assert [unit.unit for unit in seen.units] == [1]


def test_listening_ends_when_told_to(terminal: tuple[int, str]) -> None:
    stop = threading.Event()
    threading.Timer(0.3, stop.set).start()
    assert listen(terminal[1], None, 600.0, stop).seconds < 60


def test_the_system_itself_refuses_to_write_to_the_port(terminal: tuple[int, str]) -> None:
    with closing(ReadOnlyPort(terminal[1])) as port:
        port.set(parse_line_setting("19200 8E1"))
        assert fcntl.fcntl(port._descriptor, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY
        with pytest.raises(OSError, match="Bad file descriptor"):
            os.write(port._descriptor, b"\0")
    assert termios.tcgetattr(terminal[0])  # The far end is still there.


def test_the_ports_settings_are_put_back(terminal: tuple[int, str]) -> None:
    far, place = terminal
    before = termios.tcgetattr(far)
    with closing(ReadOnlyPort(place)) as port:
        for words in ("9600 8N2", "14400 8E1", "57600 8O1"):
            port.set(parse_line_setting(words))
        assert termios.tcgetattr(far) != before
    assert termios.tcgetattr(far) == before


@pytest.mark.parametrize("words", ["9600 8N1", "14400 8N2", "115200 8E1"])
def test_the_chosen_speed_and_stop_bits_reach_the_far_end(terminal: tuple[int, str], words: str) -> None:
    far, place = terminal
    setting = parse_line_setting(words)
    with closing(ReadOnlyPort(place)) as port:
        port.set(setting)
        chosen = TerminalEnd.chosen.__globals__["_baud"](far)
        assert chosen == setting.baud
        assert bool(termios.tcgetattr(far)[2] & termios.CSTOPB) == (setting.stop_bits == 2)
        # A pseudo-terminal drops the parity bit, and it is noticed.
        assert port.shows_parity == (setting.parity == "N")


def test_bytes_come_whole_through_the_terminals_marks(terminal: tuple[int, str]) -> None:
    far, place = terminal
    sent = bytes(range(256))
    with closing(ReadOnlyPort(place)) as port:
        port.set(parse_line_setting("19200 8N1"))
        os.write(far, sent)
        came = b""
        while len(came) < len(sent):
            lump = port.read(5.0)
            assert lump.data, "nothing came within 5 s"
            came += lump.data
            assert lump.bad == ()
    assert came == sent


def test_bad_characters_are_told_however_their_marks_are_cut() -> None:
    # termios(3), INPCK with PARMRK: a bad X reads 255, 0, X and a good 255 reads 255, 255.
    raw = bytes.fromhex("01 FF FF FF 00 41 FF 00 FF FF FF 02")
    whole = Marks().take(raw, 0.0)
    assert whole == Lump(0.0, bytes.fromhex("01 FF 41 FF FF 02"), (2, 3))
    for place in range(len(raw) + 1):
        marks = Marks()
        first, second = marks.take(raw[:place], 0.0), marks.take(raw[place:], 1.0)
        assert first.data + second.data == whole.data
        assert first.bad + tuple(len(first.data) + bad for bad in second.bad) == whole.bad


def test_a_port_that_another_program_speaks_on_is_left_alone(terminal: tuple[int, str]) -> None:
    with serial.Serial(terminal[1], exclusive=True), pytest.raises(PortTrouble, match="in use by another"):
        ReadOnlyPort(terminal[1])


def test_both_control_lines_are_lowered_once_the_port_is_open(
    terminal: tuple[int, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An adapter that switches its transmitter on by RTS would hold the line while we listen.

    A pseudo-terminal has no control lines and refuses to drive them, so what is asked of it is noted.
    """
    lowered = []
    real = fcntl.ioctl

    def noted(descriptor: int, order: int, *more: bytes) -> object:
        if order == termios.TIOCMBIC:
            lowered.append(struct.unpack("I", more[0])[0])
        return real(descriptor, order, *more)

    monkeypatch.setattr(fcntl, "ioctl", noted)
    with closing(ReadOnlyPort(terminal[1])) as port:
        assert sorted(lowered) == sorted((termios.TIOCM_DTR, termios.TIOCM_RTS))
        port.set(parse_line_setting("9600 8N1"))
        assert len(lowered) == 2


def test_no_other_program_of_ours_takes_the_port_meanwhile(terminal: tuple[int, str]) -> None:
    with closing(ReadOnlyPort(terminal[1])), pytest.raises(serial.SerialException, match="lock"):
        serial.Serial(terminal[1], exclusive=True)


@pytest.mark.parametrize(
    ("place", "words"), [("/dev/no-such-adapter", "no such port"), ("/dev/null", "is no serial port")]
)
def test_what_is_no_port_is_refused_in_one_sentence(place: str, words: str) -> None:
    with pytest.raises(PortTrouble, match=f"^{place}: .*{words}"):
        listen(place, None, 1.0, threading.Event())


def test_a_file_is_no_port(tmp_path: Path) -> None:
    file = tmp_path / "port"
    file.write_bytes(b"")
    with pytest.raises(PortTrouble, match="is no serial port"):
        ReadOnlyPort(str(file))


def test_an_adapter_that_is_pulled_out_is_said_so() -> None:
    far, near = pty.openpty()
    place = os.ttyname(near)
    with closing(ReadOnlyPort(place)) as port:
        os.close(near)
        os.close(far)
        with pytest.raises(PortTrouble, match="the port was lost"):
            port.read(1.0)


def test_where_the_serial_library_must_do_it_is_never_asked_to_write(monkeypatch: pytest.MonkeyPatch) -> None:
    # The way on Windows, tried here behind a stand-in for the library: bytes come, parity does not show.
    setting = parse_line_setting("19200 8E1")
    line, end = polled_line(setting, every_s=0.2), StandInEnd()
    monkeypatch.setattr(serial, "Serial", end.open)
    monkeypatch.setattr(sys, "platform", "win32")
    with running(line, end):
        seen = listen("COM3", setting, 1.2, threading.Event())
    assert (line.port_bytes_sent, [unit.unit for unit in seen.units]) == (0, [1, 5, 9, 30])
