"""Day after day: whether the residual stands off the growing baseline, by enough and surely enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.change import Days, Scan, Whitened, day_noise

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEAST_BASELINE_DAYS: Final = 6
LEAST_DAYS_AFTER: Final = 2
"""One day alone may be an odd day."""

FIRST_JUDGED_PLACE: Final = LEAST_BASELINE_DAYS + LEAST_DAYS_AFTER - 1

LEAST_RAMP_DAYS: Final = 21
"""A steady decline is looked for over at least three weeks; over less it is a step."""

LONGEST_LOOK_BACK_DAYS: Final = 400
"""Change days further back than this are candidates only if an alarm already stands from them."""

RECENT_DAYS: Final = 5
"""A fault still stands while the mean of this many last days keeps half its least effect."""

GROWN_SHARE: Final = 0.15
GROWN_LEAST: Final = 0.005
"""The last days off the mean of all since the change by this share of it, and at least this much [-], are
what is reported: the change has grown or shrunk since."""

RECENT_ERROR: Final = 0.0025
"""Standard error of a mean of a few days by the sensors' drift alone [-] (own study: 0.2-0.5 % a day)."""

_NEVER: Final = 2**31

JOINED_DAYS: Final = 14
"""Alarms closer than this, in days, are one: a fault does not heal for a week and come back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """When a change is an alarm: at least ``z`` standard errors and at least ``effect`` [-] in size."""

    z: float
    effect: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What stands at the end of one day: change day, effect [-] with its standard error.

    ``recent`` [-] is the mean of the last days against what the days before the change foretell, ``level``
    that of all days after a step, or ``recent`` again for a ramp or where the change has grown since; it is
    the mean of the days from ``level_from_day`` on and has the standard error ``level_error``. ``effect``
    shares the change out with what else may explain it, and is the smaller: it decides, ``level`` is what
    is reported.
    """

    last_day: int
    change_day: int
    is_ramp: bool
    effect: float
    standard_error: float
    recent: float
    level: float
    level_from_day: int
    level_error: float

    @property
    def z(self) -> float:
        """Return the effect in standard errors."""
        return self.effect / self.standard_error


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """A stretch of days on which a change stood: when first raised, and the verdict at its end."""

    raised_day: int
    verdict: Verdict
    active: bool


def alarms(verdicts: Sequence[Verdict], limits: Limits) -> list[Alarm]:
    """Join the days on which a change of the same sign stands into alarms, oldest first."""
    found: list[Alarm] = []
    for verdict in verdicts:
        if not stands(verdict, limits):
            continue
        if found and _continues(found[-1].verdict, verdict):
            found[-1] = Alarm(raised_day=found[-1].raised_day, verdict=verdict, active=False)
        else:
            found.append(Alarm(raised_day=verdict.last_day, verdict=verdict, active=False))
    last_day = verdicts[-1].last_day if verdicts else 0
    return [
        Alarm(raised_day=alarm.raised_day, verdict=alarm.verdict, active=alarm.verdict.last_day == last_day)
        for alarm in found
    ]


def stands(verdict: Verdict, limits: Limits) -> bool:
    """Whether the verdict is an alarm: sure, large, and still there in the last days."""
    still_there = verdict.recent * np.sign(verdict.effect) >= limits.effect / 2
    return abs(verdict.z) >= limits.z and abs(verdict.effect) >= limits.effect and bool(still_there)


def _continues(earlier: Verdict, later: Verdict) -> bool:
    near = later.last_day - earlier.last_day <= JOINED_DAYS
    return near and np.sign(earlier.effect) == np.sign(later.effect)


def watch(templates: Sequence[Days], limits: Limits) -> list[Verdict]:
    """Return the verdict at the end of each day, from the days up to it alone.

    ``templates`` hold the same days, each with another template of the change. Days on which a change
    stood that has since gone are taken out of the baseline. The noise is judged anew whenever the number
    of days has doubled, so that a later day costs no more than an earlier one.
    """
    verdicts: list[Verdict] = []
    standing: Verdict | None = None
    raised_day = _NEVER
    sums: list[Whitened] = []
    place, anew = FIRST_JUDGED_PLACE, 0
    while place < len(templates[0].day):
        if place >= anew:
            noise = day_noise(_where(templates[0], _before(templates[0].day, place, standing)))
            sums, anew = [Whitened.of(days, noise) for days in templates], place * 2
        earliest = _earliest(templates[0].day, place, standing)
        verdict = _verdict(templates, sums, place, earliest, raised_day)
        if standing is not None and not stands(verdict, limits):
            kept = (templates[0].day < standing.change_day) | (templates[0].day > standing.last_day)
            templates = [_where(days, kept) for days in templates]
            # Few days may be left; the next is judged once a baseline and two days after it are there.
            place, anew, standing = max(place - int((~kept).sum()), FIRST_JUDGED_PLACE), 0, None
            raised_day = _NEVER
            continue
        standing = verdict if stands(verdict, limits) else None
        raised_day = min(raised_day, verdict.last_day) if standing else _NEVER
        verdicts.append(verdict)
        place += 1
    return verdicts


def _before(day: IntArray, place: int, standing: Verdict | None) -> NDArray[np.bool_]:
    # A fault that stands is no noise, however often it is judged anew.
    since = day[place] if standing is None else standing.change_day
    return np.asarray((np.arange(len(day)) < place) & (day < since))


def _where(days: Days, mask: NDArray[np.bool_]) -> Days:
    return Days(
        day=days.day[mask],
        hours=days.hours[mask],
        mean=days.mean[mask],
        inside=days.inside[mask],
        belief_sd=days.belief_sd,
    )


def _earliest(day: IntArray, last: int, standing: Verdict | None) -> int:
    since = int(day[last]) - LONGEST_LOOK_BACK_DAYS
    since = since if standing is None else min(since, standing.change_day)
    oldest = int(np.searchsorted(day, since))
    return min(max(LEAST_BASELINE_DAYS, oldest), last + 1 - LEAST_DAYS_AFTER)


def _verdict(
    templates: Sequence[Days], sums: Sequence[Whitened], last: int, earliest: int, raised_day: int
) -> Verdict:
    # What stands began before it was raised: a rebound or a further step since then is part of it.
    day = templates[0].day
    until = int(np.searchsorted(day, raised_day, side="right")) - 1
    newest = min(last + 1 - LEAST_DAYS_AFTER, until)
    found = [
        _strongest(part.scan(last, earliest), newest - earliest + 1, days, last)
        for part, days in zip(sums, templates, strict=True)
    ]
    latest = min(int(np.searchsorted(day, day[last] - LEAST_RAMP_DAYS, side="right")) - 1, until)
    if latest >= earliest:
        scan = sums[0].scan_ramp(last, earliest, latest)
        found.append(replace(_strongest(scan, len(scan.z), templates[0], last), is_ramp=True))
    return _measured(max(found, key=lambda verdict: abs(verdict.z)), templates[0], sums[0], last)


def _strongest(scan: Scan, candidates: int, days: Days, last: int) -> Verdict:
    place = int(np.argmax(np.abs(scan.z[:candidates])))
    after = days.mean[(days.day >= scan.change_day[place]) & (days.day <= days.day[last])]
    height = float(after[:, -2].mean() / after[:, 0].mean())
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
    off = _off_baseline(days, sums, tau, last)
    # The day of change itself lies in part before the change.
    recent, whole = float(off[-RECENT_DAYS:].mean()), float(off[1:].mean())
    grown = abs(recent - whole) > max(GROWN_LEAST, GROWN_SHARE * abs(whole))
    lately = verdict.is_ramp or grown
    first = max(last - RECENT_DAYS + 1, tau) if lately else tau + 1
    error = float(np.hypot(verdict.standard_error, RECENT_ERROR)) if grown else verdict.standard_error
    return replace(
        verdict,
        recent=recent,
        level=recent if lately else whole,
        level_from_day=int(days.day[first]),
        level_error=error,
    )


def _off_baseline(days: Days, sums: Whitened, tau: int, last: int) -> FloatArray:
    before = np.linalg.solve(sums.normal[tau - 1], sums.right[tau - 1])
    after = days.mean[tau : last + 1]
    return np.asarray((after[:, -1] - after[:, :-2] @ before) / after[:, 0])
