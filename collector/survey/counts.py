"""What is counted at one setting: what a survey hands from the requests to the sentences."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

LEAST_DAMAGED: Final = 2
"""One damaged answer may be chance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """Answers that were sound and that were damaged."""

    sound: int = 0
    damaged: int = 0

    @property
    def share(self) -> float:
        """The share that was damaged, 0 of none."""
        return self.damaged / max(1, self.sound + self.damaged)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineCounts:
    """What was counted at one setting.

    ``setting`` is in words, empty on a network host. ``garbled`` are units that answer with damage, mostly or
    always at the same requests, ``twice`` those that answered one request twice, ``refusing`` those that
    refused all that was asked, ``late`` those that answered after the time-out, with how long after the
    request [s], ``losing`` those whose answers are missing now and then, with how many of how many. ``short``
    and ``long`` are the answers of the units that answer, those of ``garbled``, ``twice`` and ``late``
    left out, by length. ``bytes_heard`` leaves our own echo out. ``foreign_writes`` are function and unit of
    another master's writes, each pair once.
    """

    setting: str = ""
    units_asked: int = 0
    answering: tuple[int, ...] = ()
    refusing: tuple[int, ...] = ()
    garbled: tuple[int, ...] = ()
    twice: tuple[int, ...] = ()
    late: tuple[tuple[int, float], ...] = ()
    losing: tuple[tuple[int, tuple[int, int]], ...] = ()
    short: Tally = Tally()
    long: Tally = Tally()
    echoes: int = 0
    no_paths: int = 0
    foreign_requests: int = 0
    foreign_writes: tuple[tuple[int, int], ...] = ()
    bytes_heard: int = 0
    timeout_s: float = 0.5
