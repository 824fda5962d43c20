"""Whether what is said of a pump was worked out from all of its readings, or only from older ones."""

from __future__ import annotations

import math
from typing import Final

from api.analysis.pump_pass import PumpMark
from api.answers.source import Source
from collector.site import Pump
from collector.store import HOUR_MS

FIRST_PASS_S: Final = 120.0
"""After the first reading analysis has this long [s of the real clock] before it is called behind."""


def is_behind(source: Source, pump: Pump, mark: PumpMark) -> bool:
    """Return whether a pump has readings that no analysis has looked at.

    A polled pump's newest hour is always filling: only an hour beyond the one that analysis follows counts.
    An imported log stands still: each of its rows counts.
    """
    ends = source.store.span(pump.name)
    if ends is None:
        return False
    last_hour = source.api_store.last_hour(pump.name)
    if last_hour is None:
        return pump.bus is None or not _has_just_begun(source, ends[0])
    open_hours = {last_hour + place * HOUR_MS for place in range(_hours_to_follow(source, pump))}
    touched = source.store.touched_hours(mark.readings).hours.get(pump.name, ())
    if not open_hours.issuperset(touched):
        return True
    return pump.bus is None and _rows_in(source, pump, last_hour) != mark.newest_readings


def _has_just_begun(source: Source, first_utc_ms: int) -> bool:
    return source.clock.now_utc_ms() - first_utc_ms < FIRST_PASS_S * 1000 * source.clock.speed_up


def _hours_to_follow(source: Source, pump: Pump) -> int:
    """Return how many hours may be open: with a fast clock, as many as pass between two passes."""
    return 1 if pump.bus is None else 2 + math.floor(FIRST_PASS_S * source.clock.speed_up * 1000 / HOUR_MS)


def _rows_in(source: Source, pump: Pump, hour_utc_ms: int) -> int:
    return len(source.store.rows(pump.name, hour_utc_ms, hour_utc_ms + HOUR_MS, ()))
