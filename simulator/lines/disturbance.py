"""What a bad line does to an answer: seeded, each kind with the share of answers it hits."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass

from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU


@dataclass(frozen=True, slots=True, kw_only=True)
class Disturbance:
    """Shares of answers (0 to 1) that are hit, each kind by itself; nothing by default."""

    noise: float = 0.0
    """Bytes of noise before the answer."""
    lost_byte: float = 0.0
    damaged_byte: float = 0.0
    late: float = 0.0
    late_s: float = 0.5
    """How late such an answer is: choose it beyond the master's time-out."""
    short: float = 0.0
    """A sound frame with fewer registers than asked."""
    foreign: float = 0.0
    """A sound frame under another unit's number."""
    wrong_function: float = 0.0
    exception: float = 0.0
    silence: float = 0.0
    echo: bool = False
    """The master's own bytes come back first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What goes on the line instead of the answer, and how much later than the drive would have sent it."""

    frame: bytes
    delay_s: float = 0.0


class Trouble:
    """A disturbance at work. It counts what it did, so that a test can say what was injected."""

    def __init__(self, disturbance: Disturbance, seed: int) -> None:
        self.disturbance = disturbance
        self.done: Counter[str] = Counter()
        self._random = random.Random(seed)
        self._framer = FramerRTU(DecodePDU(is_server=False))

    def _hits(self, kind: str) -> bool:
        share: float = getattr(self.disturbance, kind)
        hit = self._random.random() < share
        self.done[kind] += hit
        return hit

    def on(self, frame: bytes) -> Sent:
        """Return what the line makes of a drive's RTU frame."""
        if self._hits("silence"):
            return Sent(frame=b"")
        for change in (self._content, self._bytes):
            frame = change(frame)
        return Sent(frame=frame, delay_s=self.disturbance.late_s if self._hits("late") else 0.0)

    def _framed(self, unit_id: int, payload: bytes) -> bytes:
        return self._framer.encode(payload, unit_id, 0)

    def _content(self, frame: bytes) -> bytes:
        """Return a sound frame that is not what was asked for."""
        unit_id, payload = frame[0], frame[1:-2]
        if self._hits("short") and payload[0] in (3, 4) and payload[1] > 2:
            payload = bytes([payload[0], payload[1] - 2]) + payload[2:-2]
        if self._hits("wrong_function") and payload[0] in (3, 4):
            payload = bytes([7 - payload[0]]) + payload[1:]
        if self._hits("exception"):
            payload = bytes([payload[0] | 0x80, 6])
        if self._hits("foreign"):
            unit_id = unit_id % 247 + 1
        return self._framed(unit_id, payload)

    def _bytes(self, frame: bytes) -> bytes:
        """Return the frame with bytes hurt on the way."""
        hurt = bytearray(frame)
        if self._hits("damaged_byte"):
            hurt[self._random.randrange(len(hurt))] ^= self._random.randrange(1, 256)
        if self._hits("lost_byte"):
            del hurt[self._random.randrange(len(hurt))]
        if self._hits("noise"):
            hurt[:0] = self._random.randbytes(self._random.randrange(1, 4))
        return bytes(hurt)
