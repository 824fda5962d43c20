"""Answers on their way: when each is due, one drive's never before that drive's earlier ones."""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

from simulator.lines.disturbance import Answer


@dataclass(order=True, slots=True)
class _Waiting:
    due_s: float
    number: int
    answer: Answer = field(compare=False)
    is_late: bool = field(compare=False)


class Outgoing:
    """A queue by due time on the monotonic clock [s].

    A real drive answers its requests in the order in which they came, one at a time: while a late answer
    is being made, the next one waits behind it. Answers of different drives may pass each other.
    """

    def __init__(self) -> None:
        self._waiting: list[_Waiting] = []
        self._last_due_s: dict[int, float] = {}
        self._number = 0

    def put(self, drive: int, answer: Answer, now_s: float, turn_around_s: float) -> None:
        """Take the answer of a drive (by its own unit number) to a request that has just been heard."""
        begin_s = max(now_s, self._last_due_s.get(drive, now_s))
        due_s = begin_s + turn_around_s + answer.delay_s
        self._last_due_s[drive] = due_s
        self._number += 1
        heapq.heappush(self._waiting, _Waiting(due_s, self._number, answer, due_s > now_s + turn_around_s))

    def take(self, now_s: float) -> Answer | None:
        """Take out the next answer that is due, if there is one."""
        return (
            heapq.heappop(self._waiting).answer if self._waiting and self._waiting[0].due_s <= now_s else None
        )

    def next_s(self, now_s: float, longest_s: float) -> float:
        """Return how long to wait for the next one [s], at most ``longest_s``."""
        return min(max(self._waiting[0].due_s - now_s, 0.0), longest_s) if self._waiting else longest_s

    @property
    def has_prompt(self) -> bool:
        """Whether one is waiting that is not late."""
        return any(not waiting.is_late for waiting in self._waiting)
