"""A port on a shared line behind the serial library's interface: there parity shows, unlike on a terminal.

``StandInEnd.open`` takes the place of ``serial.Serial``. The line is heard at exactly the settings given
there, parity included. With ``marks_bad_characters`` it reads as a terminal with INPCK and PARMRK set:
255, 0, X for a bad character, 255, 255 for a good 255.
"""

from __future__ import annotations

import fcntl
import os
import select
import struct
import termios
import time
from collections.abc import Sequence
from types import TracebackType
from typing import Final, Self

import serial

from simulator.lines.adapter import handed_over
from simulator.lines.uart import Character, LineSetting, Parity

_AT_MOST: Final = 4096
_PARITIES: Final[dict[str, Parity]] = {"E": "E", "O": "O", "N": "N"}


class StandInEnd:
    """The far side of the stand-in; one program at a time has it open."""

    def __init__(self) -> None:
        self.opened: StandIn | None = None
        self._to_program, self._from_line = _pipe()
        self._from_program, self._to_line = _pipe()

    def open(
        self,
        port: str | None = None,
        baudrate: int = 9600,
        bytesize: int = 8,
        parity: str = "N",
        stopbits: float = 1,
        timeout: float | None = None,
        xonxoff: bool = False,
        rtscts: bool = False,
        write_timeout: float | None = None,
        dsrdtr: bool = False,
        inter_byte_timeout: float | None = None,
        exclusive: bool | None = None,
    ) -> StandIn:
        """Open it as ``serial.Serial`` would; ``serial.SerialException`` when somebody has it."""
        if self.opened is not None:
            raise serial.SerialException(f"could not open port {port}: somebody has it")
        made = StandIn(self, self._to_program, self._to_line)
        made.port, made.timeout, made.write_timeout = port, timeout, write_timeout
        made.baudrate, made.parity, made.stopbits, made.bytesize = baudrate, parity, stopbits, bytesize
        made.reset_input_buffer()
        self.opened = made
        return made

    def close(self) -> None:
        """Take the port away."""
        for descriptor in (self._to_program, self._from_line, self._from_program, self._to_line):
            os.close(descriptor)

    def fileno(self) -> int:
        """Return what becomes readable when the program has written."""
        return self._from_program

    def is_open(self) -> bool:
        """Return whether a program has it open."""
        return self.opened is not None

    def chosen(self, line: LineSetting) -> LineSetting:
        """Return what the program set; as the line while nobody has it open."""
        return line if self.opened is None else self.opened.setting

    def written(self) -> bytes:
        """Return what the program has written."""
        return _read_now(self._from_program)

    def deliver(self, characters: Sequence[Character]) -> None:
        """Hand characters over; what a full buffer does not take is lost."""
        marks = self.opened is not None and self.opened.marks_bad_characters
        try:
            os.write(self._from_line, handed_over(characters, checks=marks, marks=marks))
        except BlockingIOError:
            pass


class StandIn:
    """What the program holds: the part of ``serial.Serial`` that a reader and a master use."""

    def __init__(self, end: StandInEnd, reads: int, writes: int) -> None:
        self._end = end
        self._reads = reads
        self._writes = writes
        self.port: str | None = None
        self.baudrate = 9600
        self.bytesize = 8
        self.parity = "N"
        self.stopbits: float = 1
        self.timeout: float | None = None
        self.write_timeout: float | None = None
        self.marks_bad_characters = False
        self.is_open = True

    @property
    def setting(self) -> LineSetting:
        """Return how it is set now."""
        return LineSetting(self.baudrate, _PARITIES[self.parity], 2 if self.stopbits == 2 else 1)

    @property
    def in_waiting(self) -> int:
        """Return how many bytes wait to be read."""
        self._refuse_if_closed()
        answer = fcntl.ioctl(self._reads, termios.FIONREAD, bytes(4))
        return int(struct.unpack("i", answer)[0])

    def read(self, size: int = 1) -> bytes:
        """Return so many bytes, or fewer when the time-out is over."""
        self._refuse_if_closed()
        data = b""
        ends_s = float("inf") if self.timeout is None else time.monotonic() + self.timeout
        while len(data) < size:
            left_s = max(ends_s - time.monotonic(), 0.0)
            wait_s = None if self.timeout is None else left_s
            if not select.select([self._reads], [], [], wait_s)[0]:
                break
            data += _read_now(self._reads, size - len(data))
        return data

    def write(self, data: bytes) -> int:
        """Send bytes and return how many."""
        self._refuse_if_closed()
        return os.write(self._writes, data)

    def flush(self) -> None:
        """Return at once: what was written is on its way."""

    def reset_input_buffer(self) -> None:
        """Forget what waits to be read."""
        while _read_now(self._reads):
            pass

    def reset_output_buffer(self) -> None:
        """Do nothing: what was written is on its way."""

    def fileno(self) -> int:
        """Return what becomes readable when something came."""
        return self._reads

    def close(self) -> None:
        """Let the port go."""
        self.is_open = False
        self._end.opened = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _refuse_if_closed(self) -> None:
        if not self.is_open:
            raise serial.PortNotOpenError


def _pipe() -> tuple[int, int]:
    reads, writes = os.pipe()
    os.set_blocking(reads, False)
    os.set_blocking(writes, False)
    return reads, writes


def _read_now(descriptor: int, at_most: int = _AT_MOST) -> bytes:
    try:
        return os.read(descriptor, at_most)
    except BlockingIOError:
        return b""
