"""One request and its answer over TCP: a transaction number tells which answer belongs to which request."""

from __future__ import annotations

import struct
import time
from typing import Final

from collector.bus.errors import BusError, Damaged, NoReply, refusal
from collector.bus.links import Link
from collector.bus.pdu import EXCEPTION_FLAG, Request, answer_length, only_reads

_HEADER: Final = struct.Struct(">HHHB")
_PROTOCOL: Final = 0
_LONGEST: Final = 254
"""Unit number and PDU after the length field [bytes] (messaging guide V1.0b, 3.1.3; from memory)."""


class LostFraming(Damaged):
    """The stream makes no sense any more: only a new connection helps."""


class TcpExchange:
    """Asks over one connection; ``place`` names it in messages."""

    def __init__(self, link: Link, place: str, timeout_s: float) -> None:
        self._link = link
        self._place = place
        self._timeout_s = timeout_s
        self._transaction = 0
        self._buffer = bytearray()

    def ask(self, unit: int, request: Request) -> bytes:
        """Send the request and return the PDU of its answer, or raise one of the bus errors."""
        self._transaction = (self._transaction + 1) & 0xFFFF
        pdu = only_reads(request.pdu)
        self._link.send(_HEADER.pack(self._transaction, _PROTOCOL, len(pdu) + 1, unit) + pdu)
        return self._listen(unit, request)

    def _listen(self, unit: int, request: Request) -> bytes:
        deadline_s = time.monotonic() + self._timeout_s
        while True:
            frame = self._next_frame(unit)
            if frame is not None:
                if frame[:2] == self._transaction.to_bytes(2, "big"):
                    return self._checked(unit, request, frame)
                continue  # an answer that came too late for its own request
            wait_s = deadline_s - time.monotonic()
            if wait_s <= 0:
                raise self._silence(unit)
            self._buffer += self._link.receive(wait_s)

    def _next_frame(self, unit: int) -> bytes | None:
        """Take one whole frame from what has come; never holds more than a frame and a lump."""
        if len(self._buffer) < _HEADER.size:
            return None
        _, protocol, length, _ = _HEADER.unpack_from(self._buffer)
        if protocol != _PROTOCOL or not 2 <= length <= _LONGEST:
            words = f"unit {unit} on {self._place}: what came is not this protocol"
            raise LostFraming(f"{words} (protocol {protocol}, length {length}); is it RTU over TCP?")
        end = _HEADER.size - 1 + length
        if len(self._buffer) < end:
            return None
        frame = bytes(self._buffer[:end])
        del self._buffer[:end]
        return frame

    def _silence(self, unit: int) -> BusError:
        if self._buffer:
            return LostFraming(
                f"unit {unit} on {self._place}: only part of an answer came: {len(self._buffer)} bytes"
            )
        return NoReply(f"unit {unit} on {self._place}: no reply within {self._timeout_s:g} s")

    def _checked(self, unit: int, request: Request, frame: bytes) -> bytes:
        place = f"unit {unit} on {self._place}"
        pdu = frame[_HEADER.size :]
        if frame[6] != unit:
            raise Damaged(f"{place}: the answer came from unit {frame[6]}")
        if pdu[0] == request.function | EXCEPTION_FLAG and len(pdu) == 2:
            raise refusal(place, request.words, pdu[1])
        if pdu[0] != request.function:
            raise Damaged(f"{place}: asked with function {request.function}, answered with function {pdu[0]}")
        if answer_length(pdu) != len(pdu) or request.byte_count not in (-1, pdu[1]):
            raise Damaged(f"{place}: asked {request.words}, the answer has another length ({len(pdu)} bytes)")
        return pdu
