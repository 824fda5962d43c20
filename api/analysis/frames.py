"""Stored readings as the frame that analytics take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from api.analysis.hours_to_renew import Span
from api.analytics.states import LEAD_IN_S
from collector.quantities import QUANTITY_NAMES
from collector.store import HOUR_MS, Store

HOUR_LEAD_MS: Final = 2 * HOUR_MS
"""An hour row needs the readings of an hour before and after it; one more for stretches across both."""

LEAD_MS: Final = max(LEAD_IN_S * 1000, HOUR_LEAD_MS)
MOST_KEPT: Final = 600_000
"""Readings kept in memory [-]: some 60 MB."""


def frame_of(rows: Sequence[tuple[Any, ...]], columns: Sequence[str] = QUANTITY_NAMES) -> pd.DataFrame:
    """Return rows of ``(time_utc_ms, *columns)`` as a frame: index ``time_utc_ms``, doubles, NaN for none."""
    # Milliseconds since 1970 are exact in a double until the year 287396.
    numbers = np.array(rows, dtype=np.float64).reshape(len(rows), len(columns) + 1)
    index = pd.Index(numbers[:, 0].astype(np.int64), name="time_utc_ms")
    return pd.DataFrame(numbers[:, 1:], index=index, columns=list(columns))


def frame_between(
    store: Store, pump: str, start_utc_ms: int, end_utc_ms: int, columns: Sequence[str] = QUANTITY_NAMES
) -> pd.DataFrame:
    """Return a pump's readings from start up to end (exclusive) as a frame."""
    return frame_of(store.rows(pump, start_utc_ms, end_utc_ms, columns), columns)


@dataclass(frozen=True, slots=True)
class Tail:
    """A pump's newest readings as they were at the last pass: all there were from ``start_utc_ms`` on."""

    start_utc_ms: int
    frame: pd.DataFrame


class Pieces:
    """A pump's readings around each span, read once for all that look at them.

    Each piece begins :data:`LEAD_MS` before its span and ends :data:`HOUR_LEAD_MS` after it. Pieces are kept
    up to :data:`MOST_KEPT` readings; a longer history is read again where it is needed again.

    ``tail`` is what the last pass left; nothing before ``changed_from_utc_ms``, the first touched hour, has
    changed since, so that only what follows it is read.
    """

    def __init__(
        self, store: Store, pump: str, tail: Tail | None = None, changed_from_utc_ms: int = 0
    ) -> None:
        self._store = store
        self._pump = pump
        self._tail = tail
        self._changed_from = changed_from_utc_ms
        self._kept: dict[Span, pd.DataFrame] = {}

    def around(self, span: Span) -> pd.DataFrame:
        """Return the readings around a span as a frame."""
        if span in self._kept:
            return self._kept[span]
        start, end = span.start_utc_ms - LEAD_MS, span.end_utc_ms + HOUR_LEAD_MS
        frame = self._read(start, end)
        if sum(map(len, self._kept.values())) + len(frame) <= MOST_KEPT:
            self._kept[span] = frame
        return frame

    def _read(self, start_utc_ms: int, end_utc_ms: int) -> pd.DataFrame:
        tail, changed = self._tail, self._changed_from
        if tail is None or not tail.start_utc_ms <= start_utc_ms <= changed:
            return frame_between(self._store, self._pump, start_utc_ms, end_utc_ms)
        times = tail.frame.index
        known = tail.frame[(times >= start_utc_ms) & (times < changed)]
        new = frame_between(self._store, self._pump, changed, end_utc_ms)
        return new if known.empty else pd.concat([known, new])

    def tail(self) -> Tail | None:
        """Return the newest piece for the next pass to go on from, ``None`` when it was too long to keep."""
        if not self._kept:
            return None
        span = max(self._kept, key=lambda span: span.end_utc_ms)
        return Tail(span.start_utc_ms - LEAD_MS, self._kept[span])


def usual_interval_s(frame: pd.DataFrame) -> float | None:
    """Return the median time between readings [s], ``None`` for fewer than three."""
    if len(frame) < 3:
        return None
    return float(np.median(np.diff(frame.index.to_numpy()))) / 1000
