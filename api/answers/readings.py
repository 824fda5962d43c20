"""Stored readings as they came, a bounded number at a time."""

from __future__ import annotations

from typing import Any

from api.answers.source import Source
from collector.quantities import QUANTITY_NAMES
from collector.site import Pump
from collector.store import HOUR_MS


def first_rows(
    source: Source, pump: Pump, start_utc_ms: int, end_utc_ms: int, most: int
) -> list[tuple[Any, ...]]:
    """Return the first ``most`` rows of ``(time_utc_ms, *quantities, source)`` from start to end (exclusive).

    Reads step by step, so that a question about ten years costs no more than its answer.
    """
    ends = source.store.span(pump.name)
    if ends is None:
        return []
    start, end = max(start_utc_ms, ends[0]), min(end_utc_ms, ends[1] + 1)
    rows: list[tuple[Any, ...]] = []
    step_ms = HOUR_MS
    while start < end and len(rows) < most:
        rows += source.store.rows(pump.name, start, min(start + step_ms, end), (*QUANTITY_NAMES, "source"))
        start, step_ms = start + step_ms, 2 * step_ms
    return rows[:most]
