"""How old the data on a page are, in words; stopped readings must be unmistakable."""

from __future__ import annotations

from dashboards.moments import clock_words, span_words
from dashboards.views import PageFrame


def is_stale(frame: PageFrame) -> bool:
    """Return whether readings should be coming but are not."""
    if frame.is_imported_only or frame.data_as_of_utc_ms is None:
        return False
    return (frame.now_utc_ms - frame.data_as_of_utc_ms) / 1000 > frame.stale_after_s


def as_of_words(frame: PageFrame) -> str:
    """Return the time of the newest reading on the site's clock."""
    if not frame.is_known:
        return "not known just now"
    if frame.data_as_of_utc_ms is None:
        return "no readings yet"
    return clock_words(frame.data_as_of_utc_ms, frame.time_zone)


def stale_words(frame: PageFrame) -> str:
    """Return the warning that readings have stopped, empty while they come."""
    if not is_stale(frame) or frame.data_as_of_utc_ms is None:
        return ""
    age = span_words((frame.now_utc_ms - frame.data_as_of_utc_ms) / 1000)
    return (
        f"Readings have stopped: the newest is {age} old. Everything below is as it was at "
        f"{as_of_words(frame)}. Check that the collector runs and that its line or network is there."
    )
