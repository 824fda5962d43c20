"""The strongest explanation of one day's end: a step or a ramp, since when, and what is left of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.change import LEAST_RAMP_DAYS, Days, Scan, Whitened
from api.analytics.verdicts import Verdict

FloatArray = NDArray[np.float64]

RECENT_DAYS: Final = 5
"""A fault still stands while the mean of this many last days keeps half its least effect."""

LEFT_OUT_DAYS: Final = 2
"""Days before a change day that foretell nothing: a fault of the evening is dated by the next day, and its
first hours would pass for a bend of the healthy curve."""

FEWEST_BEFORE: Final = 6
"""But so many days foretell, whatever is in them."""

LEVEL_ROWS: Final = 120
"""A level is the mean of at most this many last days: how it is now."""

GROWN_SHARE: Final = 0.15
GROWN_LEAST: Final = 0.005
"""The last days off the mean of all since the change by this share of it, and at least this much [-], are
what is reported: the change has grown or shrunk since."""

LEAST_HEIGHT: Final = 0.05
"""A template that is flatter than this on the days after its change, as a share of one that is the same
everywhere, says nothing there: a leak where the curve does not fall takes no head."""

RECENT_ERROR: Final = 0.0025
"""Standard error of a mean of a few days by the sensors' drift alone [-] (own study: 0.2-0.5 % a day)."""


def strongest(
    templates: Sequence[Days], sums: Sequence[Whitened], last: int, earliest: int, newest: int, until: int
) -> Verdict:
    """Return the verdict at the end of the day at place ``last``.

    Steps begin at places ``earliest`` to ``newest``, ramps no later than ``until``: what stands began before
    it was raised, and a rebound or a further step since then is part of it.
    """
    day = templates[0].day
    latest = min(int(np.searchsorted(day, day[last] - LEAST_RAMP_DAYS, side="right")) - 1, until)
    # The first template is the change everywhere alike, which is never flat.
    found: list[Verdict] = []
    for part, days in zip(sums, templates, strict=True):
        step = _of(part.scan(last, earliest), newest - earliest + 1, days, last)
        found += [step] if step is not None else []
        if latest >= earliest:
            ramp = _of(part.scan_ramp(last, earliest, latest), latest - earliest + 1, days, last)
            found += [replace(ramp, is_ramp=True)] if ramp is not None else []
    return _measured(max(found, key=lambda verdict: abs(verdict.z)), templates[0], sums[0], last)


def still(standing: Verdict, days: Days, sums: Whitened, last: int) -> Verdict:
    """Return the verdict that stands, as its last days are now."""
    return _measured(replace(standing, last_day=int(days.day[last])), days, sums, last)


def support(
    templates: Sequence[Days], sums: Sequence[Whitened], change_day: int, last_day: int
) -> tuple[float, float]:
    """Return effect [-] and z of a step on this day, as known on the last; nothing known gives 0."""
    day = templates[0].day
    tau, last = int(np.searchsorted(day, change_day)), int(np.searchsorted(day, last_day))
    if not sums or last >= len(day) or day[last] != last_day or not 0 < tau < last:
        return 0.0, 0.0
    scan = sums[0].scan(last, tau, tau)
    return float(scan.effect[0]), float(scan.z[0])


def _of(scan: Scan, candidates: int, days: Days, last: int) -> Verdict | None:
    place = int(np.argmax(np.abs(scan.z[:candidates])))
    first = int(np.searchsorted(days.day, scan.change_day[place]))
    after = days.mean[first : last + 1]
    height = float(after[:, -2].mean() / after[:, 0].mean())
    if height < LEAST_HEIGHT:
        return None
    return Verdict(
        last_day=int(days.day[last]),
        change_day=int(scan.change_day[place]),
        is_ramp=False,
        effect=float(scan.effect[place]) * height,
        standard_error=float(scan.standard_error[place]) * abs(height),
        recent=0.0,
        level=0.0,
        level_from_day=int(scan.change_day[place]),
        level_error=0.0,
    )


def _measured(verdict: Verdict, days: Days, sums: Whitened, last: int) -> Verdict:
    tau = int(np.searchsorted(days.day, verdict.change_day))
    # The day of change itself lies in part before the change.
    first, recently = max(tau + 1, last + 1 - LEVEL_ROWS), max(tau, last + 1 - RECENT_DAYS)
    off = _off_baseline(days, sums, tau, min(first, recently), last)
    recent, whole = float(off[-(last + 1 - recently) :].mean()), float(off[-(last + 1 - first) :].mean())
    grown = abs(recent - whole) > max(GROWN_LEAST, GROWN_SHARE * abs(whole))
    lately = verdict.is_ramp or grown
    error = float(np.hypot(verdict.standard_error, RECENT_ERROR)) if grown else verdict.standard_error
    return replace(
        verdict,
        recent=recent,
        level=recent if lately else whole,
        level_from_day=int(days.day[recently if lately else first]),
        level_error=error,
    )


def _off_baseline(days: Days, sums: Whitened, tau: int, first: int, last: int) -> FloatArray:
    known = max(tau - 1 - LEFT_OUT_DAYS, min(tau, FEWEST_BEFORE) - 1)
    before = np.linalg.solve(sums.normal[known], sums.right[known])
    after = days.mean[first : last + 1]
    return np.asarray((after[:, -1] - after[:, :-2] @ before) / after[:, 0])
