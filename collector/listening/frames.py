"""What may stand at a place of a stream: the frames whose own bytes say how long they are.

Lengths and limits are those of the application protocol V1.1b3, sections 6.1 to 6.21, and of the serial line
specification V1.02, 2.5.1 (from memory). A request for registers is rarely found by chance: its count must
be possible too, one of 125. An answer has no more than a byte count, and an exception a code.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from collector.bus.crc import CRC_BYTES
from collector.bus.pdu import (
    EXCEPTION_FLAG,
    IDENTIFY,
    IDENTIFY_KIND,
    LAST_ADDRESS,
    MOST_BITS,
    MOST_REGISTERS,
    Shape,
    answer_length,
)

LAST_UNIT: Final = 247
EVERYBODY: Final = 0
READS: Final = frozenset({1, 2, 3, 4})
BIT_READS: Final = frozenset({1, 2})
WRITE_ONE: Final = frozenset({5, 6})
MASK_WRITE: Final = 22
ECHOED: Final = WRITE_ONE | {MASK_WRITE}
"""Answered by the request's own bytes."""
WRITE_MANY: Final = {15: 1968, 16: 123}
"""Function code, and the most that one request may write."""
READ_WRITE: Final = 23
MOST_WRITTEN_WITH_READ: Final = 121
WRITES: Final = ECHOED | set(WRITE_MANY) | {READ_WRITE}
KNOWN_FUNCTIONS: Final = READS | WRITES | {IDENTIFY}
EXCEPTION_CODES: Final = frozenset({1, 2, 3, 4, 5, 6, 7, 8, 10, 11})
EXCEPTION_BYTES: Final = 5
MOST_DATA_BYTES: Final = 250
_ENOUGH_TO_TELL: Final = 11


class Role(StrEnum):
    """Who said it."""

    REQUEST = "request"
    ANSWER = "answer"
    EXCEPTION = "exception"
    OTHER = "other"
    """A good frame of a function that is not read here."""


@dataclass(frozen=True, slots=True)
class Written:
    """What a request would change: ``count`` coils (functions 5, 15) or registers from a zero-based address.

    ``values`` are the registers' words as sent; empty for several coils and for a masked write.
    """

    function: int
    address: int
    count: int
    values: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class HeardFrame:
    """A frame with a good checksum: ``start`` and ``end`` are places in the stream [bytes].

    ``begins_s`` and ``ends_s`` [s] are when its first and its last byte were handed to us.
    """

    role: Role
    unit: int
    pdu: bytes
    start: int
    end: int
    begins_s: float
    ends_s: float

    @property
    def function(self) -> int:
        """The function code without the exception flag."""
        return self.pdu[0] & ~EXCEPTION_FLAG

    @property
    def read(self) -> tuple[int, int, int]:
        """Function, zero-based address and count of a request of functions 1 to 4."""
        return self.pdu[0], int.from_bytes(self.pdu[1:3], "big"), int.from_bytes(self.pdu[3:5], "big")

    @property
    def written(self) -> Written:
        """What a request of a function that writes would change."""
        pdu, function = self.pdu, self.pdu[0]
        if function in ECHOED:
            count, data = 1, pdu[3:5] if function in WRITE_ONE else b""
            return Written(function, int.from_bytes(pdu[1:3], "big"), count, _words(data))
        at = 5 if function == READ_WRITE else 1
        address, count = int.from_bytes(pdu[at : at + 2], "big"), int.from_bytes(pdu[at + 2 : at + 4], "big")
        return Written(function, address, count, () if function == 15 else _words(pdu[at + 5 :]))

    @property
    def answer_shape(self) -> Shape:
        """What a good answer to this request looks like: function and byte count, -1 where none is told."""
        function = self.pdu[0]
        if function not in READS and function != READ_WRITE:
            return function, -1
        count = int.from_bytes(self.pdu[3:5], "big")
        return function, (count + 7) // 8 if function in BIT_READS else 2 * count

    def is_answered_by(self, other: HeardFrame) -> bool:
        """Return whether the other frame can be the answer to this request."""
        if other.unit != self.unit or other.function != self.function:
            return False
        if other.role is Role.EXCEPTION:
            return True
        if self.function in WRITES - {READ_WRITE}:
            alike = len(self.pdu) if self.function in ECHOED else 5
            return other.pdu[:alike] == self.pdu[:alike]
        return self.function == IDENTIFY or (other.pdu[0], other.pdu[1]) == self.answer_shape


@dataclass(frozen=True, slots=True)
class Possible:
    """What may stand here: who would have said it, and how many bytes it would take.

    ``length`` 0 means that more bytes must come before it can be told. ``is_strong``: chance alone hardly
    ever makes one.
    """

    role: Role
    length: int
    is_strong: bool = False


_CANNOT_TELL: Final = Possible(Role.OTHER, 0)


def possible_frames(data: bytes | bytearray, place: int) -> Iterator[Possible]:
    """Yield what may begin at this place, requests first; each has still to pass its checksum."""
    head = bytes(data[place : place + _ENOUGH_TO_TELL])
    if len(head) < 2:
        yield _CANNOT_TELL
        return
    unit, function = head[0], head[1]
    if unit > LAST_UNIT:
        return
    if function & EXCEPTION_FLAG:
        yield from _exception(head)
        return
    request = _REQUEST_OF.get(function)
    if request is None:
        return
    yield from request(head)
    if unit != EVERYBODY:
        yield from _answer(data, place, head)


def _exception(head: bytes) -> Iterator[Possible]:
    if head[0] == EVERYBODY or head[1] ^ EXCEPTION_FLAG not in KNOWN_FUNCTIONS:
        return
    if len(head) < 3:
        yield _CANNOT_TELL
    elif head[2] in EXCEPTION_CODES:
        yield Possible(Role.EXCEPTION, EXCEPTION_BYTES)


def _words(data: bytes) -> tuple[int, ...]:
    return tuple(_number(data, place) for place in range(0, len(data) - 1, 2))


def _number(head: bytes, place: int) -> int:
    return int.from_bytes(head[place : place + 2], "big")


def _read(head: bytes) -> Iterator[Possible]:
    if head[0] == EVERYBODY:
        return
    if len(head) < 6:
        yield _CANNOT_TELL
        return
    most = MOST_BITS if head[1] in BIT_READS else MOST_REGISTERS
    if 1 <= _number(head, 4) <= most and _number(head, 2) + _number(head, 4) <= LAST_ADDRESS + 1:
        yield Possible(Role.REQUEST, 8, is_strong=head[1] not in BIT_READS)


def _write_one(head: bytes) -> Iterator[Possible]:
    if len(head) < 6:
        yield _CANNOT_TELL
    elif head[1] == 6 or _number(head, 4) in (0x0000, 0xFF00):
        yield Possible(Role.REQUEST, 8, is_strong=head[1] == 5)


def _mask_write(head: bytes) -> Iterator[Possible]:
    yield Possible(Role.REQUEST, 10)


def _write_many(head: bytes) -> Iterator[Possible]:
    if len(head) < 7:
        yield _CANNOT_TELL
        return
    count, data_bytes = _number(head, 4), head[6]
    expected = (count + 7) // 8 if head[1] == 15 else 2 * count
    if 1 <= count <= WRITE_MANY[head[1]] and data_bytes == expected:
        yield Possible(Role.REQUEST, 7 + data_bytes + CRC_BYTES, is_strong=True)


def _read_write(head: bytes) -> Iterator[Possible]:
    if head[0] == EVERYBODY:
        return
    if len(head) < _ENOUGH_TO_TELL:
        yield _CANNOT_TELL
        return
    read, written, data_bytes = _number(head, 4), _number(head, 8), head[10]
    if 1 <= read <= MOST_REGISTERS and 1 <= written <= MOST_WRITTEN_WITH_READ and data_bytes == 2 * written:
        yield Possible(Role.REQUEST, 11 + data_bytes + CRC_BYTES, is_strong=True)


def _identify(head: bytes) -> Iterator[Possible]:
    if head[0] == EVERYBODY:
        return
    if len(head) < 5:
        yield _CANNOT_TELL
    elif head[2] == IDENTIFY_KIND and 1 <= head[3] <= 4:
        yield Possible(Role.REQUEST, 7, is_strong=True)


_REQUEST_OF: Final[dict[int, Callable[[bytes], Iterator[Possible]]]] = {
    **dict.fromkeys(READS, _read),
    **dict.fromkeys(WRITE_ONE, _write_one),
    MASK_WRITE: _mask_write,
    **dict.fromkeys(WRITE_MANY, _write_many),
    READ_WRITE: _read_write,
    IDENTIFY: _identify,
}


def _answer(data: bytes | bytearray, place: int, head: bytes) -> Iterator[Possible]:
    function = head[1]
    if function in ECHOED:
        return  # The same bytes as its request; who said it is a matter of order.
    if function in WRITE_MANY:
        if len(head) < 6:
            yield _CANNOT_TELL
        elif 1 <= _number(head, 4) <= WRITE_MANY[function]:
            yield Possible(Role.ANSWER, 8)
    elif function == IDENTIFY:
        yield from _identification(data, place)
    elif len(head) < 3:
        yield _CANNOT_TELL
    elif 1 <= head[2] <= MOST_DATA_BYTES and (function in BIT_READS or head[2] % 2 == 0):
        yield Possible(Role.ANSWER, 3 + head[2] + CRC_BYTES)


def _identification(data: bytes | bytearray, place: int) -> Iterator[Possible]:
    window = bytes(data[place + 1 : place + 257])
    if len(window) > 1 and window[1] != IDENTIFY_KIND:
        return
    length = answer_length(window)
    if length is None:
        if len(window) < 254:
            yield _CANNOT_TELL
    elif length:
        yield Possible(Role.ANSWER, 1 + length + CRC_BYTES)
