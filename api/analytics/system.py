"""The system the pump works into, tracked apart from the pump: information, never an alarm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.curve import Curve
from api.analytics.facts import PumpFacts
from api.analytics.finding import Cause, Evidence, Finding, Kind, Priority
from api.analytics.observations import Observations
from api.analytics.residuals import calm_hours
from api.analytics.spans import DAY_MS

FloatArray = NDArray[np.float64]

OPEN_SHARE: Final = 0.1
"""The tenth of a day's hours with the least resistance: valves at their most open, the fixed part shows."""

LEAST_RATIO: Final = 1.4
"""The coefficient's mean over the last days must be off what it was by this factor (common practice: a
strainer is due at about twice its clean pressure drop, and it is only part of the circuit)."""

LEAST_SPREADS: Final = 3.0
LEAST_SPREAD: Final = 0.02
"""And by this many of the spreads that the days before have among themselves, in the logarithm: demand and
weather move the coefficient from day to day (tuning families: 0.1 to 0.2)."""

HELD_SHARE: Final = 0.9
"""Share of the last days that must keep half the change: one that has gone back is none."""

LEAST_DAYS: Final = 14
LEAST_HOURS_A_DAY: Final = 4

BEFORE_DAYS: Final = 28
APART_DAYS: Final = 35
"""The last days are compared with the four weeks that ended so many days before: a circuit that loads
up over some weeks has moved on by then, while the seasons, to which valves open and shut, have hardly."""

YEAR_DAYS: Final = 365
SEASON_DAYS: Final = 14
"""What grows more slowly is compared with the same season, so many days about the day a year before."""

LONGEST_DAYS: Final = 300
"""A change that has held for so long is how the system is now."""

KEPT_DAYS: Final = 400
"""Days that later ones need: the year before, and the season about it."""


def system_findings(hours: pd.DataFrame, curve: Curve, facts: PumpFacts) -> list[Finding]:
    """Return each rise of resistance or opened system that held for two weeks, oldest first.

    The coefficient ``k = H / Q²`` [m per (m3/h)²] of the day's most open hours is compared with the same of
    weeks before; a static head shows in it as resistance, the same before and after.
    """
    return system_moved(no_openings().then(calm_hours(hours, curve, facts)), facts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Openings:
    """By day the system coefficient [m per (m3/h)²] of the most open hours."""

    day: NDArray[np.int64]
    coefficient: FloatArray

    def then(self, calm: Observations) -> Openings:
        """Return them with later days of calm hours."""
        later = most_open(calm)
        day = np.concatenate([self.day, later.index.to_numpy(dtype=np.int64)])
        return Openings(day=day, coefficient=np.concatenate([self.coefficient, later.to_numpy(dtype=float)]))

    def trimmed(self) -> Openings:
        """Return the days that later ones need."""
        return Openings(day=self.day[-KEPT_DAYS:], coefficient=self.coefficient[-KEPT_DAYS:])


def no_openings() -> Openings:
    """Return what is known before any day."""
    return Openings(day=np.zeros(0, dtype=np.int64), coefficient=np.zeros(0))


@dataclass(slots=True)
class _Change:
    """A change that stands: from which place, off which usual level, and half of what it was at first."""

    since: int
    usual: float
    half: float
    last: int


def system_moved(openings: Openings, facts: PumpFacts) -> list[Finding]:
    """Return the same from the days' most open hours."""
    level = np.log(openings.coefficient)
    steady = np.ones(len(level), dtype=np.bool_)
    found: list[_Change] = []
    standing: _Change | None = None
    for last in range(BEFORE_DAYS + LEAST_DAYS - 1, len(level)):
        if standing is not None and _holds(level, standing, last):
            standing.last = last
            steady[last] = False
            continue
        standing = _begun(openings.day, level, steady, last)
        if standing is not None:
            if found and _is_one(found[-1], standing):
                standing.since = found.pop().since
            found.append(standing)
            steady[standing.since : last + 1] = False
    return [_finding(openings.day, level, change, facts) for change in found]


def _is_one(earlier: _Change, later: _Change) -> bool:
    return later.since <= earlier.last and earlier.half * later.half > 0


def _holds(level: FloatArray, change: _Change, last: int) -> bool:
    off = (level[last + 1 - LEAST_DAYS : last + 1] - change.usual) * np.sign(change.half)
    return last - change.since < LONGEST_DAYS and float(np.mean(off > abs(change.half))) >= HELD_SHARE


def _begun(day: NDArray[np.int64], level: FloatArray, steady: NDArray[np.bool_], last: int) -> _Change | None:
    """Return the change that has held for two weeks on this day, against some weeks or a year before."""
    for before in (_weeks_before(steady, last), _a_year_before(day, steady, last)):
        if len(before) < LEAST_DAYS:
            continue
        usual, spread = float(level[before].mean()), max(float(level[before].std()), LEAST_SPREAD)
        half = (float(level[last + 1 - LEAST_DAYS : last + 1].mean()) - usual) / 2
        change = _Change(since=last, usual=usual, half=half, last=last)
        if 2 * abs(half) >= max(np.log(LEAST_RATIO), LEAST_SPREADS * spread) and _holds(level, change, last):
            change.since = _since(level, change, int(before[-1]) + 1)
            return change
    return None


def _weeks_before(steady: NDArray[np.bool_], last: int) -> NDArray[np.intp]:
    until = max(last + 1 - APART_DAYS, BEFORE_DAYS)
    return np.flatnonzero(steady[:until])[-BEFORE_DAYS:]


def _a_year_before(day: NDArray[np.int64], steady: NDArray[np.bool_], last: int) -> NDArray[np.intp]:
    return np.flatnonzero(steady & (np.abs(day - (day[last] - YEAR_DAYS)) <= SEASON_DAYS))


def _since(level: FloatArray, change: _Change, first: int) -> int:
    """Return the place from which it holds to the end, after the days that it is compared with."""
    off = (level[first : change.last + 1] - change.usual) * np.sign(change.half)
    differs = np.flatnonzero(off[:-LEAST_DAYS] <= abs(change.half))
    return first + (int(differs[-1]) + 1 if len(differs) else 0)


def most_open(seen: Observations) -> pd.Series[float]:
    """Return by day the system coefficient [m per (m3/h)²] of the day's most open tenth of hours."""
    coefficient = pd.Series(seen.head_m / seen.flow_m3h**2)
    by_day = coefficient.groupby(seen.day)
    return by_day.quantile(OPEN_SHARE)[by_day.size() >= LEAST_HOURS_A_DAY]


_CAUSES: Final = {
    Kind.RESISTANCE_RISE: (
        ("strainer_or_coil_loading", "valve_or_bypass_moved"),
        ("check_strainer_pressure_drop", "walk_valves"),
    ),
    Kind.SYSTEM_CHANGE: (("valve_or_bypass_moved", "more_circuits_open"), ("walk_valves",)),
}


def _finding(day: NDArray[np.int64], level: FloatArray, change: _Change, facts: PumpFacts) -> Finding:
    kind = Kind.RESISTANCE_RISE if change.half > 0 else Kind.SYSTEM_CHANGE
    names, checks = _CAUSES[kind]
    recent = np.exp(level[change.last + 1 - LEAST_DAYS : change.last + 1] - change.usual)
    return Finding(
        pump=facts.pump,
        kind=kind,
        first_utc_ms=int(day[change.since]) * DAY_MS,
        last_utc_ms=(int(day[change.last]) + 1) * DAY_MS - 1,
        active=change.last == len(day) - 1,
        priority=Priority.INFORMATION,
        effect=float(np.median(recent)) - 1,
        effect_low=float(np.quantile(recent, 0.1)) - 1,
        effect_high=float(np.quantile(recent, 0.9)) - 1,
        causes=(Cause(names=names, weight=1.0),),
        checks=checks,
        evidence=(Evidence(name="system_coefficient_ratio", value=float(np.median(recent))),),
    )
