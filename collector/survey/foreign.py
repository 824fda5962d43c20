"""Requests that we did not send, found in what came: another master's, reads and writes alike."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from collector.bus.crc import crc_is_right
from collector.listening.frames import ECHOED, WRITES, Role, possible_frames


@dataclass(frozen=True, slots=True)
class HeardRequest:
    """A sound request of a master to ``unit``."""

    unit: int
    function: int

    @property
    def is_write(self) -> bool:
        """Whether it changes something (functions 5, 6, 15, 16, 22 and 23)."""
        return self.function in WRITES


def requests_in(data: bytes) -> Iterator[HeardRequest]:
    """Yield the requests with a good checksum, wherever they begin, in order.

    A write that is answered by its own bytes is one request, not two.
    """
    place, last = 0, b""
    while place < len(data):
        frame = _request_at(data, place)
        if frame and not (frame == last and frame[1] in ECHOED):
            yield HeardRequest(frame[0], frame[1])
        # The answer to a write ends it: the same bytes once more are the next request.
        last = b"" if frame == last else frame or last
        place += len(frame) or 1


def _request_at(data: bytes, place: int) -> bytes:
    """Return the whole frame of a request that begins here, empty when none does."""
    for possible in possible_frames(data, place):
        frame = data[place : place + possible.length]
        is_request = possible.role is Role.REQUEST and len(frame) == possible.length > 0
        if is_request and crc_is_right(frame):
            return frame
    return b""
