"""What was counted since a task was last done: by the drive's own run-hour counter, else by readings."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.energy.counter import Fall, counted
from api.analytics.spans import DAY_MS, HOUR_MS
from api.analytics.upkeep.due import Counts

RUN_TIME: Final = "run_time_h"
PACE_DAYS: Final = 28
"""The pace is that of the last four weeks: a season's, not a day's (our own choice)."""
SHORTEST_PACE_H: Final = 72.0
"""Of fewer hours known no pace is told (our own choice)."""
COUNTERS_SLACK: Final = 1.05
"""A counter that rises by more than the clock, and 5 % for its own, is not one of hours (our own choice)."""


def counts_since(hours: pd.DataFrame, since_utc_ms: int | None, now_utc_ms: int) -> Counts:
    """Return what the hour rows tell of the time from ``since_utc_ms`` up to now; ``None`` is unknown.

    Whole hours are counted, from the first that begins after. The drive's own counter goes first, since it
    counts while nobody reads it; where it was not read, the readings' running time. A pump was seen to run
    at least as long as its readings say, so the larger of the two counts.
    """
    if since_utc_ms is None or hours.empty:
        return Counts(since_utc_ms=since_utc_ms, run_h=None)
    start = -(-since_utc_ms // HOUR_MS) * HOUR_MS
    if start >= now_utc_ms:
        return Counts(since_utc_ms=since_utc_ms, run_h=0.0, last_ran_utc_ms=last_ran(hours, now_utc_ms))
    found = _counted(hours, start, now_utc_ms)
    return replace(
        found,
        since_utc_ms=since_utc_ms,
        run_h_a_day=_pace(hours, now_utc_ms),
        last_ran_utc_ms=last_ran(hours, now_utc_ms),
    )


def last_ran(hours: pd.DataFrame, now_utc_ms: int) -> int | None:
    """Return until when at the latest the pump was seen to run, to the hour; ``None`` where it never was.

    Its counter tells of runs that nobody saw: then it had run by the time the counter was read again.
    """
    if hours.empty:
        return None
    starts = hours.index.to_numpy(dtype=np.int64)
    ends = [*(starts[hours["seconds_running"].to_numpy() > 0] + HOUR_MS)[-1:], *_counter_moved(hours)[-1:]]
    return min(int(max(ends)), now_utc_ms) if ends else None


def _counter_moved(hours: pd.DataFrame) -> list[int]:
    """Return the ends of hours in, or by the beginning of, which the run-hour counter had gone on."""
    known = _with_counter(hours)
    if known.empty:
        return []
    starts = known.index.to_numpy(dtype=np.int64)
    within = starts[known[f"{RUN_TIME}_rise"].to_numpy() > 0] + HOUR_MS
    before = known[f"{RUN_TIME}_first"].to_numpy()[1:] > known[f"{RUN_TIME}_last"].to_numpy()[:-1]
    return sorted([*within.tolist(), *starts[1:][before].tolist()])


def _pace(hours: pd.DataFrame, now_utc_ms: int) -> float | None:
    """Return the run hours of a day [h/d] over the last four weeks, of the time that is known of them."""
    start = (now_utc_ms - PACE_DAYS * DAY_MS) // HOUR_MS * HOUR_MS
    found = _counted(hours, start, now_utc_ms)
    known_h = (now_utc_ms - start) / HOUR_MS - found.unseen_h
    return None if found.run_h is None or known_h < SHORTEST_PACE_H else found.run_h / known_h * 24


def _counted(hours: pd.DataFrame, start_utc_ms: int, end_utc_ms: int) -> Counts:
    inside = hours[(hours.index >= start_utc_ms) & (hours.index < end_utc_ms)]
    seen_run_h = float(inside["seconds_running"].sum()) / 3600
    length_h = (end_utc_ms - start_utc_ms) / HOUR_MS
    by_readings = Counts(
        since_utc_ms=start_utc_ms,
        run_h=seen_run_h,
        unseen_h=max(length_h - float(inside["seconds_seen"].sum()) / 3600, 0.0),
    )
    by_counter = _by_counter(hours, inside, start_utc_ms, end_utc_ms)
    if by_counter is None or by_counter.run_h is None or by_counter.run_h > COUNTERS_SLACK * length_h:
        return by_readings
    return replace(by_counter, run_h=max(by_counter.run_h, seen_run_h))


def _by_counter(
    hours: pd.DataFrame, inside: pd.DataFrame, start_utc_ms: int, end_utc_ms: int
) -> Counts | None:
    """Return what the counter says, and the readings of the time outside what it covers."""
    rise = counted(hours, RUN_TIME, start_utc_ms, end_utc_ms, most_per_h=1.0)
    known = _with_counter(hours)
    if rise is None or known.empty:
        return None
    covers = [(int(known.index[0]), int(known.index[-1]) + HOUR_MS)]
    for time, fall in rise.falls:
        if fall is not Fall.ROLL_OVER:
            covers = _without(covers, _end_before(known, time), time)
    is_covered = np.zeros(len(inside), dtype=bool)
    covered_ms = 0
    for first, end in covers:
        is_covered |= (inside.index >= first) & (inside.index < end)
        covered_ms += max(min(end, end_utc_ms) - max(first, start_utc_ms), 0)
    outside = inside[~is_covered]
    seen_h = float(outside["seconds_seen"].sum()) / 3600
    return Counts(
        since_utc_ms=start_utc_ms,
        run_h=rise.total + float(outside["seconds_running"].sum()) / 3600,
        unseen_h=max((end_utc_ms - start_utc_ms - covered_ms) / HOUR_MS - seen_h, 0.0),
    )


def _end_before(known: pd.DataFrame, time_utc_ms: int) -> int:
    """Return the end of the last row that the counter was read in before this time."""
    earlier = known.index[known.index < time_utc_ms]
    return int(earlier[-1]) + HOUR_MS if len(earlier) else time_utc_ms


def _without(covers: list[tuple[int, int]], first: int, end: int) -> list[tuple[int, int]]:
    """Return the spans without what lies from ``first`` up to ``end``."""
    parts = [
        part for span in covers for part in ((span[0], min(span[1], first)), (max(span[0], end), span[1]))
    ]
    return sorted({part for part in parts if part[0] < part[1]})


def _with_counter(hours: pd.DataFrame) -> pd.DataFrame:
    column = f"{RUN_TIME}_first"
    return hours[hours[column].notna()] if column in hours.columns else hours.iloc[:0]
