"""The time before and since a piece of work that may be compared: nothing else was done to the pump in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import pandas as pd

from api.analytics.facts import ServiceEvent
from api.analytics.spans import DAY_MS, HOUR_MS

LONGEST_DAYS: Final = 28
"""Before and since: longer ago the season was another, and a pump may have worn on (our own choice)."""

ONE_VISIT_MS: Final = 12 * HOUR_MS
"""Works closer than this are one visit: what each did can't be told apart (our own choice)."""

NOTHING_EXPECTED: Final = frozenset(
    {"greased", "aligned", "coupling_checked", "seal_inspected", "turned_by_hand", "other_upkeep"}
)
"""Work that is done for the years to come: head, power and episodes need not show it (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """From ``first_utc_ms`` up to the work, begun and done at these times, and up to ``end_utc_ms``.

    ``is_over`` says that no later reading belongs to it: 28 days have passed, or other work was done.
    """

    first_utc_ms: int
    begun_utc_ms: int
    done_utc_ms: int
    end_utc_ms: int
    is_over: bool


def stretch_of(work: ServiceEvent, works: Sequence[ServiceEvent], end_utc_ms: int) -> Stretch:
    """Return the stretch of a piece of work among all that was done; ``end_utc_ms`` ends the readings."""
    at = work.time_utc_ms
    telling = [each.time_utc_ms for each in works if each.kind not in NOTHING_EXPECTED]
    visit = [time for time in telling if abs(time - at) <= ONE_VISIT_MS] or [at]
    begun, done = min(*visit, at), max(*visit, at)
    before = max((time for time in telling if time < begun), default=0)
    after = min((time for time in telling if time > done), default=done + LONGEST_DAYS * DAY_MS)
    last = min(after, done + LONGEST_DAYS * DAY_MS)
    return Stretch(
        first_utc_ms=max(before, begun - LONGEST_DAYS * DAY_MS),
        begun_utc_ms=begun,
        done_utc_ms=done,
        end_utc_ms=min(last, end_utc_ms),
        is_over=end_utc_ms >= last,
    )


def running_h(hours: pd.DataFrame, first_utc_ms: int, end_utc_ms: int) -> float:
    """Return the running hours [h] between two times, by whole hour rows."""
    return float(between(hours, first_utc_ms, end_utc_ms)["seconds_running"].sum()) / 3600


def between(hours: pd.DataFrame, first_utc_ms: int, end_utc_ms: int) -> pd.DataFrame:
    """Return the hour rows that lie whole between two times."""
    return hours[(hours.index >= first_utc_ms) & (hours.index + HOUR_MS <= end_utc_ms)]
