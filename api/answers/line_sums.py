"""Counts of lines added up."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final, TypeVar

from collector.line_quarter import QUARTER_MS, LineQuarter, reply_quantile_s
from collector.store import HOUR_MS

_Key = TypeVar("_Key", int, str)


@dataclass(frozen=True, slots=True)
class LineSums:
    """Counts added up; ``busy_s`` of one unit or of all."""

    quarters: tuple[LineQuarter, ...]

    def of(self, name: str) -> int:
        """Return the sum of the counts of this name."""
        return sum(getattr(quarter, name) for quarter in self.quarters)

    @property
    def replies(self) -> list[int]:
        """Replies by the classes of ``REPLY_EDGES_S``; empty without counts."""
        return [sum(counts) for counts in zip(*(each.reply_times for each in self.quarters), strict=True)]

    @property
    def use(self) -> float | None:
        """Share of the watched time in which a request was under way [-], ``None`` without counts."""
        # Units of one bus that are counted together are watched together: that time counts once.
        watched: dict[int, float] = {}
        for each in self.quarters:
            watched[each.start_utc_ms] = max(each.watched_s, watched.get(each.start_utc_ms, 0.0))
        watched_s = sum(watched.values())
        busy_s = sum(each.busy_s for each in self.quarters)
        return min(1.0, busy_s / watched_s) if watched_s else None

    def reply_s(self, share: float) -> float | None:
        """Return the time [s] that this share of replies kept within, ``None`` without replies."""
        return reply_quantile_s(self.replies, share)


LINE_STEPS_MS: Final = {"day": QUARTER_MS, "week": HOUR_MS, "month": 4 * HOUR_MS}
"""How coarse the counts of a range are added up: some hundred steps each."""


def grouped(
    counted: Iterable[LineQuarter], key: Callable[[LineQuarter], _Key]
) -> dict[_Key, list[LineQuarter]]:
    """Return counts by a key, in their order."""
    groups: dict[_Key, list[LineQuarter]] = {}
    for each in counted:
        groups.setdefault(key(each), []).append(each)
    return groups
