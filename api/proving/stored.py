"""Looking at what is stored of a pump: imports, a bus that is only heard, or while polling runs."""

from __future__ import annotations

from typing import Final

from api.proving.samples import Sample, sample_of_stored, spread
from api.proving.typed_map import TypedMap
from collector.quantities import QUANTITY_NAMES
from collector.reading import Reading
from collector.store import HOUR_MS, Store

MOST: Final = 2000
IMPORTED_SPAN_MS: Final = 7 * 24 * HOUR_MS
"""Imports have no present; their last week shows the loads of all days."""


def stored_samples(store: Store, pump: str, typed: TypedMap, span_ms: int) -> list[Sample]:
    """Return the newest readings of a pump within a span before its last one, as samples."""
    ends = store.span(pump)
    if ends is None:
        return []
    rows = store.rows(pump, ends[1] - span_ms, ends[1] + 1, (*QUANTITY_NAMES, "quality"))
    names = ("time_utc_ms", *QUANTITY_NAMES, "quality")
    points = list(typed.as_read.values())
    samples = (
        sample_of_stored(Reading(pump=pump, **dict(zip(names, row, strict=True))), points) for row in rows
    )
    return spread(list(samples), MOST)
