"""When each pump of a bus is read: its period, and how seldom a silent one may cost the others time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from collector.poll.pump_reader import PumpReader

LONGEST_BACK_OFF_S: Final = 60.0
SILENT_SHARE: Final = 0.08
"""Of the line's time, for all silent pumps together: the others then keep their period within 10 %."""
SAVED_TIME_OUTS: Final = 2
"""How many time-outs may be saved up, so that a rare silence is asked about again at the next turn."""


@dataclass(slots=True)
class Turn:
    """A pump of a bus and when it is next due, on the monotonic clock [s]."""

    reader: PumpReader
    period_s: float
    due_s: float
    failures: int = 0
    put_off: bool = False
    """Whether the last turn was left out because late answers might still come."""

    def answered(self, now_s: float) -> None:
        """Set the next turn one period after the last, whatever this one took.

        On a line that cannot carry all its periods, what was missed is left out but for the last: so that
        every pump is late by the same, instead of some being passed over.
        """
        self.failures = 0
        self.due_s += self.period_s
        if self.due_s < now_s:
            self.due_s += self.period_s * math.floor((now_s - self.due_s) / self.period_s)

    def was_silent(self, longest_s: float, now_s: float) -> None:
        """Set the next turn after one period, then two, four ..., at most the longest wait or the period."""
        doubled_s = self.period_s * 2.0 ** min(self.failures, 20)
        self.failures += 1
        self.due_s += max(self.period_s, min(doubled_s, longest_s))
        if self.due_s < now_s:
            self.due_s += self.period_s * math.ceil((now_s - self.due_s) / self.period_s)


class Allowance:
    """The line time that silent pumps may still take; it grows by a share of the time that passes."""

    def __init__(self, timeout_s: float, now_s: float) -> None:
        self._most_s = SAVED_TIME_OUTS * timeout_s
        self._left_s = self._most_s
        self._counted_s = now_s

    def is_left(self, now_s: float) -> bool:
        """Return whether a silent pump may be tried now."""
        self._left_s = min(self._most_s, self._left_s + SILENT_SHARE * (now_s - self._counted_s))
        self._counted_s = now_s
        return self._left_s > 0

    def spend(self, spent_s: float) -> None:
        """Count what a try has cost [s]."""
        self._left_s -= spent_s


def due_turns(turns: list[Turn], now_s: float) -> list[Turn]:
    """Return the turns that are due, in the order of the site file, those of silent pumps last.

    A silent pump at the end delays nobody in its own scan.
    """
    return sorted((turn for turn in turns if turn.due_s <= now_s), key=lambda turn: turn.failures > 0)
