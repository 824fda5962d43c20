"""A serial line with several drives, whose every character takes its time.

A request is seen by the drives only after its characters and the silence that ends a frame have passed;
the answer comes after the drive's turn-around, in lumps at the line's pace. A request that begins before
3.5 characters of silence is not understood, as on real drives. 11 bits a character, always.
"""

from __future__ import annotations

import heapq
import threading
import time
from collections import Counter
from collections.abc import Mapping
from typing import Final, Protocol

from pymodbus.exceptions import ModbusIOException
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU, ModbusPDU

from simulator.drives import Drive
from simulator.lines.disturbance import Disturbance, Trouble

_BITS_A_CHARACTER: Final = 11
_FIXED_SILENCE_S: Final = 0.00175
"""Above 19200 baud the silence is fixed (Modbus over Serial Line V1.02, as quoted in trade pages)."""
_IDLE_S: Final = 0.1


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
        self._quiet_since_s = -1.0
        self._waiting: list[tuple[float, int, bytes]] = []

    def serve(self, wire: Wire, stop: threading.Event) -> None:
        """Answer on a wire until told to stop or the other end is gone."""
        while not stop.is_set():
            self._send_what_is_due(wire)
            data = wire.read(self._until_next())
            if data is None:
                return
            if data:
                self._hear(wire, data, time.monotonic())

    def _until_next(self) -> float:
        if not self._waiting:
            return _IDLE_S
        return min(max(self._waiting[0][0] - time.monotonic(), 0.0), _IDLE_S)

    def _send_what_is_due(self, wire: Wire) -> None:
        while self._waiting and self._waiting[0][0] <= time.monotonic():
            self._pace(wire, heapq.heappop(self._waiting)[2])

    def _hear(self, wire: Wire, data: bytes, began_s: float) -> None:
        """Take in a request: all characters until the line has been silent for long enough."""
        too_early = began_s - self._quiet_since_s < self.silence_s
        ends_s = began_s + len(data) * self.character_s
        while True:
            more = wire.read(max(ends_s + self.silence_s - time.monotonic(), 0.0))
            if more:
                data += more
                ends_s = max(ends_s, time.monotonic()) + len(more) * self.character_s
            elif more is None or time.monotonic() >= ends_s + self.silence_s:
                break
        if self.trouble.disturbance.echo:
            wire.write(data)
        if too_early:
            self.seen["too early"] += 1
        else:
            self._answer(data)

    def _answer(self, data: bytes) -> None:
        request = self._request(data)
        drive = self.drives.get(request.dev_id) if request else None
        if request is None or drive is None:
            return
        reply = drive.answer(request)
        if reply is None:
            return
        sent = self.trouble.on(self._framer.buildFrame(reply))
        if sent.frame:
            due_s = time.monotonic() + drive.turn_around_s + sent.delay_s
            heapq.heappush(self._waiting, (due_s, self.seen["answers"], sent.frame))
            self.seen["answers"] += 1

    def _request(self, data: bytes) -> ModbusPDU | None:
        """Return the request, if the bytes are one sound frame and nothing more."""
        self.seen["requests"] += 1
        sound = len(data) >= 4 and FramerRTU.check_CRC(data[:-2], int.from_bytes(data[-2:], "big"))
        if not sound:
            self.seen["damaged requests"] += 1
            return None
        try:
            return self._framer.handleFrame(data, 0, 0)[1]
        except ModbusIOException:
            self.seen["damaged requests"] += 1
            return None

    def _pace(self, wire: Wire, frame: bytes) -> None:
        """Send a frame so that no character arrives before the line could have carried it."""
        begin_s = time.monotonic()
        lump = max(1, int(0.002 / self.character_s))
        for place in range(0, len(frame), lump):
            part = frame[place : place + lump]
            sleep_until(begin_s + (place + len(part)) * self.character_s)
            # Noted before the write: a master that hears it at once may begin 3.5 characters after.
            self._quiet_since_s = time.monotonic()
            wire.write(part)


def sleep_until(moment_s: float) -> None:
    """Sleep until a moment of the monotonic clock."""
    rest = moment_s - time.monotonic()
    if rest > 0:
        time.sleep(rest)
