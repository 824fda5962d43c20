"""Whether a pump's newest reading is so old that nothing of it may be called now."""

from __future__ import annotations

from typing import Final

from api.answers.source import Source
from collector.site import Pump

OLD_AFTER_S: Final = 86_400.0
"""A day: what polls is warned of within minutes, and trend logs come a day at a time (our own choice)."""
OLD_AFTER_INTERVALS: Final = 6


def old_s(source: Source, pump: Pump) -> float:
    """Return how old a pump's newest reading is [s of the site's clock], 0 while it still speaks of now."""
    span = source.store.span(pump.name)
    if span is None:
        return 0.0
    age_s = (source.clock.now_utc_ms() - span[1]) / 1000
    return age_s if age_s > _limit_s(source, pump) else 0.0


def as_of_utc_ms(source: Source, pump: Pump) -> int | None:
    """Return the time of the newest reading [ms UTC] where that is old, else ``None``."""
    span = source.store.span(pump.name)
    return span[1] if span is not None and old_s(source, pump) else None


def _limit_s(source: Source, pump: Pump) -> float:
    """Return the limit [s]; with a fast clock days pass between two scans."""
    bus_s = source.site.bus(pump.bus).interval_s if pump.bus else 0.0
    interval_s = pump.interval_s or bus_s
    polled_s = OLD_AFTER_INTERVALS * interval_s * source.clock.speed_up
    return max(OLD_AFTER_S, polled_s)
