"""Instants and spans of time in words, on the site's own clock."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from dashboards.display import BOUND
from dashboards.views import TimeArray


def local(time_utc_ms: int, time_zone: str) -> datetime:
    """Return an instant on the site's clock."""
    return datetime.fromtimestamp(time_utc_ms / 1000, tz=UTC).astimezone(ZoneInfo(time_zone))


def day_words(time_utc_ms: int, time_zone: str, now_utc_ms: int) -> str:
    r"""Return a day, with its year only where that is not the present one.

    >>> day_words(1_791_763_200_000, "UTC", 1_793_000_000_000)
    '12\xa0October'
    """
    day = local(time_utc_ms, time_zone)
    year = "" if day.year == local(now_utc_ms, time_zone).year else f" {day.year}"
    return f"{day.day}{BOUND}{day:%B}{year}"


def moment_words(time_utc_ms: int, time_zone: str, now_utc_ms: int) -> str:
    r"""Return an instant: the time alone for today, the day and the time otherwise.

    >>> moment_words(1_791_763_200_000, "UTC", 1_793_000_000_000)
    '12\xa0October 00:00'
    """
    then, now = local(time_utc_ms, time_zone), local(now_utc_ms, time_zone)
    if then.date() == now.date():
        return f"{then:%H:%M} today"
    return f"{day_words(time_utc_ms, time_zone, now_utc_ms)} {then:%H:%M}"


def clock_words(time_utc_ms: int, time_zone: str) -> str:
    """Return the full instant with seconds and zone, for "data as of".

    >>> clock_words(1_791_763_200_000, "Europe/Lisbon")
    '12 October 2026 01:00:00 WEST'
    """
    then = local(time_utc_ms, time_zone)
    return f"{then.day} {then:%B %Y %H:%M:%S %Z}"


def span_words(seconds: float) -> str:
    """Return a length of time in its largest fitting unit.

    >>> span_words(42), span_words(5400), span_words(86_400), span_words(260_000)
    ('42 s', '90 min', '1 day', '3 days')
    """
    if seconds < 100:
        return f"{round(seconds)} s"
    if seconds < 7_200:
        return f"{round(seconds / 60)} min"
    if seconds < 86_400:
        return f"{round(seconds / 3600)} h"
    days = round(seconds / 86_400)
    return f"{days} day{'s' if days != 1 else ''}"


def machine_time(time_utc_ms: int) -> str:
    """Return an instant for a ``datetime`` attribute."""
    return datetime.fromtimestamp(time_utc_ms / 1000, tz=UTC).isoformat()


def axis_times(times_utc_ms: TimeArray, time_zone: str) -> list[str]:
    """Return instants as local wall-clock text, which is what a date axis draws.

    In the hour that a clock change repeats, an axis of wall-clock time shows both passes at one place.
    """
    zone = ZoneInfo(time_zone)
    return [
        datetime.fromtimestamp(time / 1000, tz=zone).strftime("%Y-%m-%d %H:%M:%S")
        for time in times_utc_ms.tolist()
    ]
