"""The time a reading is stamped with, real or sped up for a demonstration."""

from __future__ import annotations

import time
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """Wall time as it is, or a simulated time that runs ``speed_up`` times faster from a shared instant.

    ``simulated = simulated_start_ms + (real - real_start_ms) * speed_up``: both starts are milliseconds
    UTC, so that several processes given the same three numbers agree.
    """

    simulated_start_ms: int = 0
    real_start_ms: int = 0
    speed_up: float = 1.0

    def now_utc_ms(self) -> int:
        """Return the present instant in milliseconds UTC."""
        elapsed_ms = time.time_ns() / 1e6 - self.real_start_ms
        return int(self.simulated_start_ms + elapsed_ms * self.speed_up)

    def real_seconds(self, seconds: float) -> float:
        """Return how long to really wait for this many seconds of this clock [s]."""
        return seconds / self.speed_up

    def as_text(self) -> str:
        """Return the three numbers as one command line word, the inverse of :func:`clock_from_text`."""
        return f"{self.simulated_start_ms}:{self.real_start_ms}:{self.speed_up:g}"


def clock_from_text(text: str) -> Clock:
    """Return the clock written as ``simulated_start_ms:real_start_ms:speed_up``.

    Raises
    ------
    ValueError
        When it is not three numbers, or the speed-up is not above zero.

    >>> clock_from_text("1000:2000:60").real_seconds(120)
    2.0
    """
    words = text.split(":")
    if len(words) != 3 or not float(words[2]) > 0:
        raise ValueError(f"a clock is start_ms:real_start_ms:speed_up, not {text!r}")
    return Clock(simulated_start_ms=int(words[0]), real_start_ms=int(words[1]), speed_up=float(words[2]))
