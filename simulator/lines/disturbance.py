"""What a bad line or a bad drive does to an answer: seeded, each kind with the share of answers it hits."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True, kw_only=True)
class Disturbance:
    """Shares of answers (0 to 1) that are hit, each kind by itself; nothing by default.

    A Modbus TCP line takes no noise, lost or damaged bytes and no echo: TCP has its own checksum and order
    and mends these before a program sees them. It takes ``split``, which a serial line does of itself.
    """

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
    """A sound frame under another unit's number: the next one up."""
    wrong_function: float = 0.0
    exception: float = 0.0
    silence: float = 0.0
    echo: bool = False
    """The master's own bytes come back first."""
    split: float = 0.0
    """The answer comes byte by byte."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a drive says, or what was made of it: unit number, function code with data, and how late."""

    unit_id: int
    pdu: bytes
    delay_s: float = 0.0
    transaction_id: int = 0
    """The request's number; only Modbus TCP has one."""


class Trouble:
    """A disturbance at work. ``done`` counts by kind what it really changed, for tests to read."""

    def __init__(self, disturbance: Disturbance, seed: int) -> None:
        self.disturbance = disturbance
        self.done: Counter[str] = Counter()
        self._random = random.Random(seed)

    def of_content(self, answer: Answer) -> Answer | None:
        """Return what comes in place of the drive's answer, sound but perhaps wrong; ``None`` for nothing."""
        if self._hits("silence"):
            self.done["silence"] += 1
            return None
        unit_id, pdu = answer.unit_id, answer.pdu
        for kind, change in (("short", _short), ("wrong_function", _other_function), ("exception", _busy)):
            if self._hits(kind):
                pdu = self._counted(kind, pdu, change(pdu))
        if self._hits("foreign"):
            self.done["foreign"] += 1
            unit_id = unit_id % 247 + 1
        late = self._hits("late")
        self.done["late"] += late
        return replace(answer, unit_id=unit_id, pdu=pdu, delay_s=self.disturbance.late_s if late else 0.0)

    def of_bytes(self, frame: bytes) -> bytes:
        """Return the frame with bytes hurt on a serial line."""
        hurt = bytearray(frame)
        if self._hits("damaged_byte"):
            self.done["damaged_byte"] += 1
            hurt[self._random.randrange(len(hurt))] ^= self._random.randrange(1, 256)
        if self._hits("lost_byte"):
            self.done["lost_byte"] += 1
            del hurt[self._random.randrange(len(hurt))]
        if self._hits("noise"):
            self.done["noise"] += 1
            hurt[:0] = self._random.randbytes(self._random.randrange(1, 4))
        return bytes(hurt)

    def pieces(self, frame: bytes) -> list[bytes]:
        """Return the frame in the pieces in which it goes out."""
        if not self._hits("split"):
            return [frame]
        self.done["split"] += 1
        return [frame[place : place + 1] for place in range(len(frame))]

    def _hits(self, kind: str) -> bool:
        share: float = getattr(self.disturbance, kind)
        return self._random.random() < share

    def _counted(self, kind: str, before: bytes, after: bytes) -> bytes:
        self.done[kind] += before != after
        return after


def _is_registers(pdu: bytes) -> bool:
    return pdu[0] in (3, 4)


def _short(pdu: bytes) -> bytes:
    """Return the answer without its last register, if it has more than one."""
    return bytes([pdu[0], pdu[1] - 2]) + pdu[2:-2] if _is_registers(pdu) and pdu[1] > 2 else pdu


def _other_function(pdu: bytes) -> bytes:
    return bytes([7 - pdu[0]]) + pdu[1:] if _is_registers(pdu) else pdu


def _busy(pdu: bytes) -> bytes:
    return bytes([pdu[0] | 0x80, 6])
