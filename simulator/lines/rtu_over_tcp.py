"""A gateway: serial frames come over TCP, and a paced serial line lies behind it."""

from __future__ import annotations

import threading
import time
from typing import Final

from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU

from simulator.lines.network import Listener, SocketWire
from simulator.lines.paced_line import PacedLine

_INCOMPLETE_S: Final = 0.05
"""How long the rest of a request may take to come over the network."""
_NAP_S: Final = 0.0002
_FRAMES: Final = DecodePDU(is_server=True)


class RtuOverTcp(Listener):
    """A gateway to one serial line; masters take turns, the next when the first has gone.

    On the line it keeps the silences itself: a network client owes it none. So a request waits until the
    line is free, and requests in one packet go out one after the other.
    """

    def __init__(self, line: PacedLine, host: str = "127.0.0.1", port: int = 0) -> None:
        super().__init__(host, port)
        self.line = line
        self._one_at_a_time = threading.Lock()

    def serve(self, wire: SocketWire) -> None:
        """Answer on one connection until it ends."""
        with self._one_at_a_time:
            self.line.serve(_RequestsInTurn(wire, self.line), self.stopping)


class _RequestsInTurn:
    """The wire between network and line: it gives the line one request at a time, when the line is free."""

    def __init__(self, wire: SocketWire, line: PacedLine) -> None:
        self._wire = wire
        self._line = line
        self._waiting = b""
        self._came_s = 0.0

    def read(self, timeout_s: float) -> bytes | None:
        """Return a request that may begin now, ``b""`` for none, ``None`` when the other end is gone."""
        give_up_s = time.monotonic() + timeout_s
        while True:
            request = self._next_request(time.monotonic())
            if request:
                return request
            left_s = max(give_up_s - time.monotonic(), 0.0)
            data = self._wire.read(min(left_s, _NAP_S) if self._waiting else left_s)
            if data is None:
                return None
            if data:
                self._waiting += data
                self._came_s = time.monotonic()
            elif time.monotonic() >= give_up_s:
                return b""

    def write(self, data: bytes) -> None:
        """Send to the master."""
        self._wire.write(data)

    def _next_request(self, now_s: float) -> bytes:
        if not self._waiting or not self._line.is_free(now_s):
            return b""
        length = _length_of_first(self._waiting)
        if length is None:
            length = len(self._waiting) if now_s - self._came_s > _INCOMPLETE_S else 0
        request, self._waiting = self._waiting[:length], self._waiting[length:]
        return request


def _length_of_first(data: bytes) -> int | None:
    """Return the bytes of the first request: all of them when it is none, ``None`` while some are missing."""
    if len(data) < 4:
        return None
    kind = _FRAMES.lookupPduClass(data)
    length = kind.calculateRtuFrameSize(data) if kind else len(data)
    if not length or length > len(data):
        return None
    # After a damaged request nobody can say where the next one begins.
    sound = FramerRTU.check_CRC(data[: length - 2], int.from_bytes(data[length - 2 : length], "big"))
    return length if sound else len(data)
