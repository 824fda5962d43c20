"""A serial line with several drives, whose every character takes its time.

A request is seen by the drives only after its characters and the silence that ends a frame have passed;
the answer comes after the drive's turn-around, in lumps at the line's pace. A request that begins before
3.5 characters of silence is not understood, as on real drives. 11 bits a character, always.
"""

from __future__ import annotations

import threading
import time
from collections import Counter
from collections.abc import Mapping
from typing import Final, Protocol

from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU

from simulator.drives import Drive
from simulator.lines.disturbance import Answer, Disturbance, Trouble
from simulator.lines.outgoing import Outgoing

_BITS_A_CHARACTER: Final = 11
_FIXED_SILENCE_S: Final = 0.00175
"""Above 19200 baud the silence is fixed (Modbus over Serial Line V1.02, as quoted in trade pages)."""
_IDLE_S: Final = 0.1
_LUMP_S: Final = 0.002


class Wire(Protocol):
    """Two ends of a line as bytes: a pseudo-terminal or a socket."""

    def read(self, timeout_s: float) -> bytes | None:
        """Return what came within the time, ``b""`` for nothing, ``None`` when the other end is gone."""

    def write(self, data: bytes) -> None:
        """Send bytes; bytes that nobody takes are lost, as on a real line."""


class PacedLine:
    """The drives of one line and its pace. One at a time may call :meth:`serve`."""

    def __init__(
        self, drives: Mapping[int, Drive], baud: int, disturbance: Disturbance | None = None, seed: int = 0
    ) -> None:
        self.drives = drives
        self.baud = baud
        self.character_s = _BITS_A_CHARACTER / baud
        self.silence_s = 3.5 * self.character_s if baud <= 19200 else _FIXED_SILENCE_S
        self.trouble = Trouble(disturbance or Disturbance(), seed)
        self.seen: Counter[str] = Counter()
        self._framer = FramerRTU(DecodePDU(is_server=True))
        self._outgoing = Outgoing()
        self._quiet_since_s = -1.0
        self._heard_until_s = -1.0

    def serve(self, wire: Wire, stop: threading.Event) -> None:
        """Answer on a wire until told to stop or the other end is gone."""
        while not stop.is_set():
            self._send_what_is_due(wire)
            data = wire.read(self._outgoing.next_s(time.monotonic(), _IDLE_S))
            if data is None:
                return
            if data:
                self._hear(wire, data, time.monotonic())

    def is_free(self, now_s: float) -> bool:
        """Return whether a request may begin: nothing on the line for 3.5 characters, no answer to come.

        A late answer is not waited for: no master and no gateway can know of it.
        """
        free_s = max(self._quiet_since_s + self.silence_s, self._heard_until_s)
        return now_s >= free_s and not self._outgoing.has_prompt

    def _send_what_is_due(self, wire: Wire) -> None:
        while (answer := self._outgoing.take(time.monotonic())) is not None:
            frame = self._framer.encode(answer.pdu, answer.unit_id, 0)
            self._pace(wire, self.trouble.of_bytes(frame))

    def _hear(self, wire: Wire, data: bytes, began_s: float) -> None:
        """Take in a request: all characters until the line has been silent for long enough."""
        too_early = began_s - self._quiet_since_s < self.silence_s
        ends_s = began_s + len(data) * self.character_s
        while True:
            self._heard_until_s = ends_s + self.silence_s
            more = wire.read(max(self._heard_until_s - time.monotonic(), 0.0))
            if more:
                data += more
                ends_s = max(ends_s, time.monotonic()) + len(more) * self.character_s
            elif more is None or time.monotonic() >= self._heard_until_s:
                break
        if self.trouble.disturbance.echo:
            wire.write(data)
        if too_early:
            self.seen["too early"] += 1
        else:
            self._answer(data)

    def _answer(self, data: bytes) -> None:
        self.seen["requests"] += 1
        if not _is_sound(data):
            self.seen["damaged requests"] += 1
            return
        drive = self.drives.get(data[0])
        reply = drive.answer_bytes(data[1:-2]) if drive else None
        if drive is None or reply is None:
            return
        said = Answer(unit_id=drive.unit_id, pdu=bytes([reply.function_code]) + reply.encode())
        answer = self.trouble.of_content(said)
        if answer is not None:
            self.seen["answers"] += 1
            self._outgoing.put(drive.unit_id, answer, time.monotonic(), drive.turn_around_s)

    def _pace(self, wire: Wire, frame: bytes) -> None:
        """Send a frame so that no character arrives before the line could have carried it."""
        begin_s = time.monotonic()
        # By the line's own time: a thread that wakes late must not shorten the master's silence.
        self._quiet_since_s = begin_s + len(frame) * self.character_s
        lump = max(1, int(_LUMP_S / self.character_s))
        for place in range(0, len(frame), lump):
            part = frame[place : place + lump]
            sleep_until(begin_s + (place + len(part)) * self.character_s)
            wire.write(part)


def _is_sound(data: bytes) -> bool:
    """Return whether the bytes are one frame and nothing more, by their checksum."""
    return len(data) >= 4 and FramerRTU.check_CRC(data[:-2], int.from_bytes(data[-2:], "big"))


def sleep_until(moment_s: float) -> None:
    """Sleep until a moment of the monotonic clock."""
    rest = moment_s - time.monotonic()
    if rest > 0:
        time.sleep(rest)
