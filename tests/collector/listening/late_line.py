"""A line of frames in which answers are late, lost and damaged, and what stands in every register of it.

Without bytes' own time, so that thousands of exchanges take a moment. A drive answers in the order in which
it was asked, each request at most once, sometimes long after its master has gone on; the master takes
whatever looks like an answer, as masters do. What we hear of it all may be hurt or missed.
"""

from __future__ import annotations

import random
from collections import deque
from dataclasses import dataclass, field

from collector.listening.ear import StreamEar
from collector.listening.exchanges import Event
from collector.listening.port import Lump
from simulator.lines.foreign_master import is_sound
from tests.collector.listening.streams import answer, hurt, read

Read = tuple[int, int, int]
"""Unit, address, count."""


@dataclass(frozen=True, kw_only=True)
class Manners:
    """How bad it is: shares of requests (0 to 1), the master's wait and the latest answer after it [s]."""

    reads: tuple[Read, ...]
    every_s: float = 1.6
    timeout_s: float = 0.2
    late_reply_s: float = 1.0
    late: float = 0.1
    lost: float = 0.05
    hurt_for_all: float = 0.03
    hurt_for_us: float = 0.05
    restarts: float = 0.01


def register(unit: int, address: int) -> int:
    """Return what stands in a register: no two are alike."""
    return unit * 5000 + address


def truth(unit: int, address: int, count: int) -> bytes:
    return b"".join(register(unit, address + place).to_bytes(2, "big") for place in range(count))


@dataclass
class _Open:
    read: Read
    due_s: float
    gone_on_s: float = float("inf")


@dataclass
class LateLine:
    """Runs the line and returns what a listener hears of it."""

    manners: Manners
    chance: random.Random
    now_s: float = 0.0
    events: list[Event] = field(default_factory=list)
    _open: deque[_Open] = field(default_factory=deque)

    def __post_init__(self) -> None:
        self._ear = StreamEar()

    def run(self, seconds: float) -> list[Event]:
        while self.now_s < seconds:
            begun_s = self.now_s
            for each in self.manners.reads:
                self._ask(each)
            self._wait(max(begun_s + self.manners.every_s, self.now_s))
        return self.events

    def _ask(self, asked: Read) -> None:
        unit, address, count = asked
        is_whole = self._said(read(unit, 3, address, count))
        request = _Open(asked, self.now_s + self._delay_s())
        if is_whole and self.chance.random() >= self.manners.lost:
            self._open.append(request)
        until_s = self.now_s + self.manners.timeout_s
        while (due := self._due(until_s)) is not None:
            if self._answered(due) and (due.read[0], due.read[2]) == (unit, count):
                break
        else:
            self.now_s = until_s
        request.gone_on_s = self.now_s
        self.now_s += 0.003

    def _delay_s(self) -> float:
        if self.chance.random() >= self.manners.late:
            return 0.01
        return self.chance.uniform(0.0, self.manners.timeout_s + self.manners.late_reply_s)

    def _due(self, until_s: float) -> _Open | None:
        """Return the drives' next answer up to a time; one drive's answers come in order."""
        waiting: dict[int, _Open] = {}
        for each in self._open:
            waiting.setdefault(each.read[0], each)
        first = min(waiting.values(), key=lambda each: each.due_s, default=None)
        return first if first is not None and first.due_s <= until_s else None

    def _answered(self, due: _Open) -> bool:
        self._open.remove(due)
        self.now_s = max(self.now_s, due.due_s)
        if self.now_s > due.gone_on_s + self.manners.late_reply_s:
            return False  # A drive that is later than it ever is keeps silent.
        self.now_s += 0.005
        return self._said(answer(due.read[0], 3, truth(*due.read)))

    def _wait(self, until_s: float) -> None:
        while (due := self._due(until_s)) is not None:
            self._answered(due)
        self.now_s = until_s

    def _said(self, frame: bytes) -> bool:
        """Let a frame be heard by us; return whether the others get it whole."""
        if self.chance.random() < self.manners.restarts:
            self._ear = StreamEar()
            if self.chance.random() < 0.5:
                return True  # And what is said meanwhile is missed.
        is_whole = self.chance.random() >= self.manners.hurt_for_all
        if not is_whole or self.chance.random() < self.manners.hurt_for_us:
            frame = self._hurt(frame)
        self.now_s += len(frame) * 0.0005
        self.events += self._ear.take(Lump(self.now_s, frame))
        return is_whole

    def _hurt(self, frame: bytes) -> bytes:
        """Return the frame with bytes changed or lost, of a checksum that shows it."""
        while True:
            came = hurt(frame, self.chance.choice((0.2, 1.0)), self.chance)
            if self.chance.random() < 0.3:
                came = came[self.chance.randrange(1, 4) :]
            if came != frame and not is_sound(came):
                return came
