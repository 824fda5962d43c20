"""Which hours to work out anew, in as few reads as possible."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from collector.store import HOUR_MS

LONGEST_PIECE_H: Final = 31 * 24
"""A month at 10 s is 270,000 readings, some 30 MB as a frame: enough to be quick, small enough to fit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Whole UTC hours from ``start_utc_ms`` up to ``end_utc_ms`` (exclusive)."""

    start_utc_ms: int
    end_utc_ms: int


def spans_to_renew(touched_hours: Iterable[int], longest_h: int = LONGEST_PIECE_H) -> list[Span]:
    """Return the touched hours [ms UTC] and their neighbours as spans, ascending, none longer than a piece.

    A reading changes its own hour and, across the gap limit, the hour before and the hour after.

    >>> [(span.start_utc_ms // HOUR_MS, span.end_utc_ms // HOUR_MS) for span in spans_to_renew([HOUR_MS * 5])]
    [(4, 7)]
    """
    hours = sorted({hour + step * HOUR_MS for hour in touched_hours for step in (-1, 0, 1)})
    spans: list[Span] = []
    for hour in hours:
        goes_on = (
            spans and spans[-1].end_utc_ms == hour and (hour - spans[-1].start_utc_ms < longest_h * HOUR_MS)
        )
        start = spans.pop().start_utc_ms if goes_on else hour
        spans.append(Span(start_utc_ms=start, end_utc_ms=hour + HOUR_MS))
    return spans
