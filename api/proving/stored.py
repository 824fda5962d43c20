"""Looking at what is stored of a pump: imports, a bus that is only heard, or while polling runs."""

from __future__ import annotations

from pathlib import Path
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
    rows = store.rows(pump, ends[1] - span_ms, ends[1] + 1, (*QUANTITY_NAMES, "quality", "source"))
    names = ("time_utc_ms", *QUANTITY_NAMES, "quality", "source")
    points = list(typed.as_read.values())
    samples = (
        sample_of_stored(Reading(pump=pump, **dict(zip(names, row, strict=True))), points) for row in rows
    )
    return spread(list(samples), MOST)


def changed_utc_ms(path: Path) -> int:
    """Return when a file was last changed [ms UTC]; one that is gone is newer than anything."""
    try:
        return path.stat().st_mtime_ns // 1_000_000
    except OSError:
        return 2**62


def polling_began_utc_ms(database: Path) -> int:
    """Return when the last polling into this database began [ms UTC]; 0 if none ever did.

    Polling reads its maps once, at the start, and writes its claim then (``collector.poll.claim_site``).
    """
    claim = database.with_name(f"{database.name}.polling")
    return changed_utc_ms(claim) if claim.is_file() else 0
