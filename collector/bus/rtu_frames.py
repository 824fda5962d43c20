"""Finding whole answers in a stream of serial bytes, wherever they begin."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from collector.bus.crc import CRC_BYTES, crc_is_right
from collector.bus.pdu import EXCEPTION_FLAG, IDENTIFY, Shape, answer_length

LONGEST_FRAME: Final = 256
"""Bytes of the longest serial frame (serial line specification V1.02, 2.3; from memory)."""


@dataclass(frozen=True, slots=True)
class Frame:
    """An answer with a good checksum; ``end`` is the place in the bytes after it."""

    unit: int
    pdu: bytes
    end: int

    @property
    def function(self) -> int:
        """The function code without the exception flag."""
        return self.pdu[0] & ~EXCEPTION_FLAG

    @property
    def is_exception(self) -> bool:
        """Whether it refuses."""
        return bool(self.pdu[0] & EXCEPTION_FLAG)

    @property
    def shape(self) -> Shape:
        """What it says about the request that it answers; nothing but the function for an exception."""
        return self.pdu[0], -1 if self.pdu[0] == IDENTIFY else self.pdu[1]


def frames_in(data: bytes | bytearray) -> Iterator[Frame]:
    """Yield the answers in the bytes in order. What lies between them is noise; none lies within another."""
    start = 0
    while start <= len(data) - 5:
        frame = _frame_at(data, start)
        if frame is None:
            start += 1
        else:
            yield frame
            start = frame.end


def _frame_at(data: bytes | bytearray, start: int) -> Frame | None:
    length = answer_length(data, start + 1)
    if not length:
        return None
    end = start + 1 + length + CRC_BYTES
    if end > len(data) or end - start > LONGEST_FRAME or not crc_is_right(data[start:end]):
        return None
    return Frame(data[start], bytes(data[start + 1 : end - CRC_BYTES]), end)
