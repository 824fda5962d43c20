"""How often something is said on a line."""

from __future__ import annotations

import statistics
from collections import deque
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

TIMES_KEPT: Final = 256


@dataclass(slots=True)
class Rhythm:
    """Counts ``times``, and remembers when the last ones were [s]."""

    times: int = 0
    _last_s: deque[float] = field(default_factory=lambda: deque(maxlen=TIMES_KEPT))

    def note(self, time_s: float) -> None:
        """Take the next time."""
        self.times += 1
        self._last_s.append(time_s)

    @property
    def every_s(self) -> float | None:
        """The usual time between two [s]; ``None`` when there was one only.

        >>> rhythm = Rhythm()
        >>> for time_s in (1.0, 6.0, 11.0, 17.0):
        ...     rhythm.note(time_s)
        >>> rhythm.every_s
        5.0
        """
        gaps_s = [after_s - before_s for before_s, after_s in pairwise(self._last_s)]
        return statistics.median(gaps_s) if gaps_s else None
