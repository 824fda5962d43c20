"""What a drive's own counter says of a period, and whether the integrated readings agree with it.

A counter goes on while nobody reads it, so it knows of gaps. It may also roll over, be set back, or come
from another drive: then what it says across the fall is worked out where it can be, and left out where not.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.spans import HOUR_MS

WIDTHS: Final = tuple(top * scale for scale in (1, 0.1, 0.01, 0.001) for top in (2**16, 2**32, 10**5, 10**6))
"""Where counters begin again: full registers of 16 and 32 bits and decimal displays, by usual scales
(common practice)."""
NEAR_TOP: Final = 0.98
"""A counter rolls over only from so near its top [-]: an hour moves it by far less than the rest."""
MARGIN: Final = 2.0
"""A rise above so many times what the largest power or the clock allows is another drive's counter."""
WHOLE_HOUR_S: Final = 3599.0
"""An hour seen for so long has no gap; a second is for rounding."""


class Fall(StrEnum):
    """Why a counter did not just go on."""

    ROLL_OVER = "roll_over"
    SET_BACK = "set_back"
    OTHER_DRIVE = "other_drive"


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """A counter over a period, in its own unit.

    ``total`` is what it rose; ``across_gaps`` the part of that which was counted while nobody read, shared
    over the gap's time where only a part of it lies in the period. ``falls`` are the times [ms UTC, the
    hour's start] at which it did not just go on: a roll-over is in the total, after being set back it counts
    from zero, and of another drive's counter nothing is known across the change.
    """

    total: float
    across_gaps: float
    falls: tuple[tuple[int, Fall], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciled:
    """The counter beside the integral of power, over the whole hours that both know [kWh].

    ``resolution_kwh`` is the smallest step that the counter was seen to make: a difference below it says
    nothing.
    """

    counter_kwh: float
    integrated_kwh: float
    hours: int
    resolution_kwh: float

    @property
    def difference(self) -> float | None:
        """Return the integral over the counter, minus one [-]; ``None`` where the counter stood still."""
        return None if self.counter_kwh <= 0 else self.integrated_kwh / self.counter_kwh - 1

    @property
    def is_within_resolution(self) -> bool:
        """Return whether the two agree as well as the counter's step can tell."""
        return abs(self.integrated_kwh - self.counter_kwh) <= self.resolution_kwh


@dataclass(frozen=True, slots=True)
class _Rise:
    """What a counter rose between two times [ms UTC]; both the same within an hour."""

    start_utc_ms: int
    end_utc_ms: int
    amount: float
    fall: Fall | None = None


def counted(
    hours: pd.DataFrame, counter: str, start_utc_ms: int, end_utc_ms: int, most_per_h: float
) -> Counted | None:
    """Return what ``counter`` (of ``COUNTERS``) rose from start up to end, ``None`` where it was not read.

    ``hours`` may reach beyond the period, so that a gap across its border is known; ``most_per_h`` is the
    most that the counter can rise in an hour (kWh: the largest power in kW; hours: 1).
    """
    rises = _rises(hours, counter, most_per_h)
    parts = [(rise, _share_within(rise, start_utc_ms, end_utc_ms)) for rise in rises]
    inside = [(rise, share) for rise, share in parts if share > 0]
    if not inside:
        return None
    gaps = [rise.amount * share for rise, share in inside if rise.end_utc_ms > rise.start_utc_ms]
    falls = tuple((rise.end_utc_ms, rise.fall) for rise, _ in inside if rise.fall is not None)
    total = sum(rise.amount * share for rise, share in inside)
    return Counted(total=total, across_gaps=sum(gaps), falls=falls)


def reconciled(hours: pd.DataFrame, most_kw: float) -> Reconciled | None:
    """Return the energy counter beside the integrated power of some hour rows, ``None`` where none can tell.

    Only whole hours that the counter was read at both ends of count: from the first value in an hour to the
    first in the next. A row in which the counter fell, or rose more than ``most_kw`` allows, counts for none.
    """
    known = _known(hours, "energy_kwh")
    if len(known) < 2:
        return None
    time = known.index.to_numpy(dtype=np.int64)
    first = known["energy_kwh_first"].to_numpy(dtype=float)
    rise = np.diff(first)
    whole = (np.diff(time) == HOUR_MS) & (known["seconds_seen"].to_numpy()[:-1] >= WHOLE_HOUR_S)
    steady = (known["energy_kwh_falls"].to_numpy()[:-1] == 0) & (rise >= 0) & (rise <= MARGIN * most_kw)
    both = whole & steady
    if not both.any():
        return None
    steps = rise[rise > 0]
    return Reconciled(
        counter_kwh=float(rise[both].sum()),
        integrated_kwh=float(known["energy_kwh"].to_numpy()[:-1][both].sum()),
        hours=int(both.sum()),
        resolution_kwh=float(steps.min()) if len(steps) else 0.0,
    )


def _known(hours: pd.DataFrame, counter: str) -> pd.DataFrame:
    """Return the rows in which the counter was read; rows of an older layout know none."""
    column = f"{counter}_first"
    return hours[hours[column].notna()] if column in hours.columns else hours.iloc[:0]


def _rises(hours: pd.DataFrame, counter: str, most_per_h: float) -> list[_Rise]:
    known = _known(hours, counter)
    times = [int(time) for time in known.index]
    first, last, within, falls = (
        known[f"{counter}_{what}"].tolist() if len(known) else []
        for what in ("first", "last", "rise", "falls")
    )
    found = []
    for place, time in enumerate(times):
        found.append(_within(time, first[place], last[place], within[place], falls[place], most_per_h))
        if place:
            ended = times[place - 1] + HOUR_MS
            found.append(_between(ended, time, last[place - 1], first[place], most_per_h))
    return found


def _within(time: int, was: float, now: float, rise: float, falls: float, most_per_h: float) -> _Rise:
    """Return the rise within a row: across a fall, what a full counter makes of it or the rises about it."""
    if not falls:
        return _Rise(time, time, rise)
    across = _between(time, time, was, now, most_per_h)
    if across.fall is Fall.ROLL_OVER:
        return across
    return _Rise(time, time, rise, across.fall or Fall.OTHER_DRIVE)


def _between(start_utc_ms: int, end_utc_ms: int, was: float, now: float, most_per_h: float) -> _Rise:
    """Return the rise from one row's last value to the next row's first."""
    most = MARGIN * most_per_h * (1 + (end_utc_ms - start_utc_ms) / HOUR_MS)
    if 0 <= now - was <= most:
        return _Rise(start_utc_ms, end_utc_ms, now - was)
    for top in WIDTHS:
        if NEAR_TOP * top < was <= top and 0 <= top - was + now <= most:
            return _Rise(start_utc_ms, end_utc_ms, top - was + now, Fall.ROLL_OVER)
    if 0 <= now <= most and now < was:
        return _Rise(start_utc_ms, end_utc_ms, now, Fall.SET_BACK)
    return _Rise(start_utc_ms, end_utc_ms, 0.0, Fall.OTHER_DRIVE)


def _share_within(rise: _Rise, start_utc_ms: int, end_utc_ms: int) -> float:
    length = rise.end_utc_ms - rise.start_utc_ms
    if length == 0:
        return 1.0 if start_utc_ms <= rise.end_utc_ms < end_utc_ms else 0.0
    inside = min(rise.end_utc_ms, end_utc_ms) - max(rise.start_utc_ms, start_utc_ms)
    return max(inside, 0) / length
