"""Requests that read, and what their answers must look like: nothing else can be built here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

BitTable = Literal["coil", "discrete"]
RegisterTable = Literal["input", "holding"]

FUNCTION_OF: Final[dict[str, int]] = {"coil": 1, "discrete": 2, "holding": 3, "input": 4}
IDENTIFY: Final = 43
IDENTIFY_KIND: Final = 14
READING_FUNCTIONS: Final = frozenset({1, 2, 3, 4, IDENTIFY})
EXCEPTION_FLAG: Final = 0x80

MOST_REGISTERS: Final = 125
MOST_BITS: Final = 2000
LAST_ADDRESS: Final = 0xFFFF
"""Application protocol V1.1b3, sections 6.1 to 6.4 (from memory)."""

Shape = tuple[int, int]
"""Function code and byte count: all that an answer says about the request that it answers."""


class NotARead(Exception):
    """Something tried to send what is not a read. It is never sent; this is a fault of the program."""


def only_reads(pdu: bytes) -> bytes:
    """Return the request unchanged when it is a read: the last check before the wire.

    Raises
    ------
    NotARead
        For every function code but 1 to 4 and 43/14.
    """
    if not pdu or pdu[0] not in READING_FUNCTIONS or (pdu[0] == IDENTIFY and pdu[1:2] != b"\x0e"):
        raise NotARead(f"only reads are sent to a drive, not {pdu[:2].hex(' ') or 'nothing'}")
    return pdu


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """A read: its bytes, the shape that its answer must have, and words for a message.

    ``byte_count`` [bytes] of data in the answer; -1 for identification, whose answers vary.
    ``whole_counts`` are the smaller numbers of registers that cut no value in two, where they are known.
    """

    pdu: bytes
    byte_count: int
    words: str
    table: str = ""
    address: int = 0
    count: int = 0
    whole_counts: tuple[int, ...] = ()

    @property
    def function(self) -> int:
        """The function code."""
        return self.pdu[0]

    @property
    def shape(self) -> Shape:
        """What an answer to it looks like."""
        return self.pdu[0], self.byte_count

    def shorter(self) -> Iterator[Request]:
        """Yield reads of the same first registers or bits whose answers have other shapes, the likely first.

        Many drives refuse a part of a 32-bit value: so first those that cut none, then even numbers.
        """
        if self.table in ("input", "holding"):
            whole = (count for count in self.whole_counts if 0 < count < self.count)
            counts = dict.fromkeys((*whole, *range(2, self.count, 2), *range(1, self.count, 2)))
        else:
            counts = dict.fromkeys(range(1, self.count, 8))
        for count in counts:
            yield read_request(self.table, self.address, count)


@lru_cache(maxsize=4096)
def read_request(table: str, address: int, count: int, whole_counts: tuple[int, ...] = ()) -> Request:
    """Return the request that reads ``count`` registers or bits from a zero-based address.

    Raises
    ------
    ValueError
        When they are more than one answer can carry, or lie beyond the last address.
    """
    registers = table in ("input", "holding")
    most = MOST_REGISTERS if registers else MOST_BITS
    if not 1 <= count <= most:
        raise ValueError(f"one request reads 1 to {most}, not {count}")
    if not 0 <= address <= LAST_ADDRESS + 1 - count:
        raise ValueError(f"addresses are 0 to {LAST_ADDRESS}, not {address} to {address + count - 1}")
    return Request(
        pdu=bytes((FUNCTION_OF[table], *address.to_bytes(2, "big"), *count.to_bytes(2, "big"))),
        byte_count=2 * count if registers else (count + 7) // 8,
        words=f"{table} {address}" + (f" to {address + count - 1}" if count > 1 else ""),
        table=table,
        address=address,
        count=count,
        whole_counts=whole_counts,
    )


def identify_request(first_object: int = 0) -> Request:
    """Return the request for the basic identification objects from ``first_object`` on (function 43/14)."""
    pdu = bytes((IDENTIFY, IDENTIFY_KIND, 1, first_object))
    return Request(pdu=pdu, byte_count=-1, words="identification")


def answer_length(pdu: bytes | bytearray, start: int = 0) -> int | None:
    """Return how long the answer PDU that begins at ``start`` must be [bytes].

    None while too few bytes are there to tell; 0 when it is no answer to a read.
    """
    if len(pdu) < start + 2:
        return None
    function = pdu[start]
    if function in FUNCTION_OF.values():
        return 2 + pdu[start + 1]
    if function & EXCEPTION_FLAG and function ^ EXCEPTION_FLAG in READING_FUNCTIONS:
        return 2
    return _identification_length(pdu, start) if function == IDENTIFY else 0


def _identification_length(pdu: bytes | bytearray, start: int) -> int | None:
    place = start + 7
    if len(pdu) < place:
        return None
    if pdu[start + 1] != IDENTIFY_KIND:
        return 0
    for _ in range(pdu[start + 6]):
        if len(pdu) < place + 2:
            return None
        place += 2 + pdu[place + 1]
    return place - start


@dataclass(frozen=True, slots=True, kw_only=True)
class Identification:
    """What a drive says it is: the texts by object number (0 vendor, 1 product code, 2 revision)."""

    objects: dict[int, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class IdentificationPart:
    """One answer of several; ``next_object`` is None when it is the last."""

    objects: dict[int, str]
    next_object: int | None


def parse_identification(pdu: bytes) -> IdentificationPart:
    """Parse an answer whose length :func:`answer_length` has confirmed.

    Bytes that are no ASCII text become U+FFFD: the text is shown to a person, never acted upon.
    """
    objects = {}
    place = 7
    for _ in range(pdu[6]):
        number, length = pdu[place], pdu[place + 1]
        objects[number] = pdu[place + 2 : place + 2 + length].decode("ascii", errors="replace")
        place += 2 + length
    more = pdu[4] == 0xFF and pdu[5] > max(objects, default=0xFF)
    return IdentificationPart(objects=objects, next_object=pdu[5] if more else None)
