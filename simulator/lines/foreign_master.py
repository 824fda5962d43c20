"""A master that is not ours: a building controller that polls the drives of a line in its own rounds."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import Final

from pymodbus.framer import FramerRTU

_LATEST_S: Final = 0.01

Read = tuple[int, int, int, int]
"""Unit number, function code, address from 0, count."""


def framed(unit_id: int, pdu: bytes) -> bytes:
    r"""Return a serial frame: unit number, function code with data, checksum.

    >>> framed(2, b"\x07").hex(" ")
    '02 07 41 12'
    """
    body = bytes([unit_id]) + pdu
    return body + FramerRTU.compute_CRC(body).to_bytes(2, "big")


def is_sound(data: bytes) -> bool:
    """Return whether the bytes are one frame and nothing more, by their checksum."""
    return len(data) >= 4 and FramerRTU.check_CRC(data[:-2], int.from_bytes(data[-2:], "big"))


def read_request(read: Read) -> bytes:
    """Return the frame that asks for it."""
    unit_id, function, address, count = read
    return framed(unit_id, bytes([function]) + address.to_bytes(2, "big") + count.to_bytes(2, "big"))


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignMaster:
    """What it asks in each round, how often a round begins, and how long it waits for an answer [s].

    ``others`` are frames beside the reads (unit number, function code with data), sent in each round too.
    ``pause_s`` is what it takes between an answer and its next request, beyond the silence of the line.
    """

    reads: Sequence[Read] = ()
    every_s: float = 1.0
    timeout_s: float = 0.3
    pause_s: float = 0.003
    others: Sequence[tuple[int, bytes]] = ()
    first_s: float = 0.05
    """When its first round begins, after the line's beginning."""
    name: str = "a master"

    def requests(self) -> list[bytes]:
        """Return the frames of one round."""
        return [read_request(read) for read in self.reads] + [framed(*other) for other in self.others]


class MasterAtWork:
    """A foreign master on a line: when it speaks next, and what it makes of what it hears."""

    def __init__(self, master: ForeignMaster, begins_s: float, seed: int) -> None:
        self.master = master
        self.name = master.name
        self.answered = 0
        self.unanswered = 0
        self._random = random.Random(seed)
        self._round = master.requests()
        self._place = 0
        self._round_begins_s = begins_s + master.first_s
        self._speaks_s = self._a_little_after(self._round_begins_s) if self._round else inf
        self._gives_up_s = inf

    @property
    def next_s(self) -> float:
        """Return when it does something by itself [s]."""
        return min(self._speaks_s, self._gives_up_s)

    @property
    def request(self) -> bytes:
        """Return the frame that is its next, or that it waits for an answer to."""
        return self._round[self._place]

    def wants_to_speak(self, now_s: float) -> bool:
        """Give up waiting if it is time; return whether the next request is due."""
        if now_s >= self._gives_up_s:
            self.unanswered += 1
            self._go_on(now_s)
        return now_s >= self._speaks_s

    def put_off(self, until_s: float) -> None:
        """Try again a little after the line is free."""
        self._speaks_s = self._a_little_after(until_s)

    def spoke(self, ends_s: float) -> None:
        """Wait for the answer from the end of the request on; a broadcast has none."""
        self._speaks_s = inf
        self._gives_up_s = self._a_little_after(ends_s + (self.master.timeout_s if self.request[0] else 0.02))

    def hear(self, frame: bytes, now_s: float) -> None:
        """Take in a frame of somebody else."""
        if self._gives_up_s < inf and is_sound(frame) and self._is_awaited(frame):
            self.answered += 1
            self._go_on(now_s)

    def _is_awaited(self, frame: bytes) -> bool:
        return frame[0] == self.request[0] and frame[1] & 0x7F == self.request[1]

    def _go_on(self, now_s: float) -> None:
        self._gives_up_s = inf
        self._place += 1
        self._speaks_s = now_s + self.master.pause_s
        if self._place < len(self._round):
            return
        self._place = 0
        # A round that took too long is followed by the next one at once, as masters do.
        self._round_begins_s = max(self._round_begins_s + self.master.every_s, self._speaks_s)
        self._speaks_s = self._a_little_after(self._round_begins_s)

    def _a_little_after(self, time_s: float) -> float:
        """Return when it really gets to it: without this, two masters would collide in step for ever."""
        return time_s + self._random.uniform(0.0, _LATEST_S)
