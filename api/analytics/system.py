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
from api.analytics.observations import DAY_MS, Observations
from api.analytics.residuals import calm_hours

FloatArray = NDArray[np.float64]

OPEN_SHARE: Final = 0.1
"""The tenth of a day's hours with the least resistance: valves at their most open, the fixed part shows."""

LEAST_RATIO: Final = 1.4
"""The coefficient's mean over the last days must be off that of the baseline by this factor (common
practice: a strainer is due at about twice its clean pressure drop, and it is only part of the circuit)."""

LEAST_SPREADS: Final = 2.0
LEAST_SPREAD: Final = 0.02
"""And by this many of the spreads that the baseline's days have among themselves, in the logarithm: demand
and weather move the coefficient from day to day (tuning families: 0.1 to 0.2)."""

HELD_SHARE: Final = 0.9
"""Share of the last days that must keep half the change: one that has gone back is none."""

LEAST_DAYS: Final = 14
LEAST_HOURS_A_DAY: Final = 4

KEPT_DAYS: Final = 400
"""A change that has held for longer is told as if it began this many days ago."""


def system_findings(hours: pd.DataFrame, curve: Curve, facts: PumpFacts) -> list[Finding]:
    """Return a rise of resistance or an opened system that has held for two weeks at the end of the hours.

    The coefficient ``k = H / Q²`` [m per (m3/h)²] of the day's most open hours is compared with the same of
    the baseline's days; a static head shows in it as resistance, the same before and after.
    """
    return system_moved(no_openings().then(calm_hours(hours, curve, facts), curve), curve, facts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Openings:
    """By day the system coefficient [m per (m3/h)²] of the most open hours: the baseline's and the last."""

    day: NDArray[np.int64]
    coefficient: FloatArray

    def then(self, calm: Observations, curve: Curve) -> Openings:
        """Return them with later days of calm hours; those in between that are too old are let go."""
        later = most_open(calm)
        day = np.concatenate([self.day, later.index.to_numpy(dtype=np.int64)])
        coefficient = np.concatenate([self.coefficient, later.to_numpy(dtype=float)])
        kept = (day <= curve.last_hour_utc_ms // DAY_MS) | (np.arange(len(day)) >= len(day) - KEPT_DAYS)
        return Openings(day=day[kept], coefficient=coefficient[kept])


def no_openings() -> Openings:
    """Return what is known before any day."""
    return Openings(day=np.zeros(0, dtype=np.int64), coefficient=np.zeros(0))


def system_moved(openings: Openings, curve: Curve, facts: PumpFacts) -> list[Finding]:
    """Return the same from the days' most open hours."""
    day, coefficient = openings.day, openings.coefficient
    baseline = coefficient[day <= curve.last_hour_utc_ms // DAY_MS]
    if len(baseline) < 4 or len(day) < len(baseline) + LEAST_DAYS:
        return []
    level = np.log(coefficient)
    usual, spread = float(np.log(baseline).mean()), max(float(np.log(baseline).std()), LEAST_SPREAD)
    moved = float(level[-LEAST_DAYS:].mean()) - usual
    since = _held((level - usual) * np.sign(moved) > abs(moved) / 2)
    if abs(moved) < max(np.log(LEAST_RATIO), LEAST_SPREADS * spread) or since is None:
        return []
    kind = Kind.RESISTANCE_RISE if moved > 0 else Kind.SYSTEM_CHANGE
    return [_finding(kind, day[since:], np.exp(level[since:] - usual), facts)]


def most_open(seen: Observations) -> pd.Series[float]:
    """Return by day the system coefficient [m per (m3/h)²] of the day's most open tenth of hours."""
    coefficient = pd.Series(seen.head_m / seen.flow_m3h**2)
    by_day = coefficient.groupby(seen.day)
    return by_day.quantile(OPEN_SHARE)[by_day.size() >= LEAST_HOURS_A_DAY]


def _held(state: NDArray[np.bool_]) -> int | None:
    # The place from which the state holds to the end, allowing a day in ten to differ; None if too short.
    tail = state[-LEAST_DAYS:]
    if len(tail) < LEAST_DAYS or tail.mean() < HELD_SHARE:
        return None
    differs = np.flatnonzero(~state[:-LEAST_DAYS])
    return int(differs[-1]) + 1 if len(differs) else 0


_CAUSES: Final = {
    Kind.RESISTANCE_RISE: (
        ("strainer_or_coil_loading", "valve_or_bypass_moved"),
        ("check_strainer_pressure_drop", "walk_valves"),
    ),
    Kind.SYSTEM_CHANGE: (("valve_or_bypass_moved", "more_circuits_open"), ("walk_valves",)),
}


def _finding(kind: Kind, day: NDArray[np.int64], ratio: FloatArray, facts: PumpFacts) -> Finding:
    names, checks = _CAUSES[kind]
    recent = ratio[-LEAST_DAYS:]
    return Finding(
        pump=facts.pump,
        kind=kind,
        first_utc_ms=int(day[0]) * DAY_MS,
        last_utc_ms=(int(day[-1]) + 1) * DAY_MS - 1,
        active=True,
        priority=Priority.INFORMATION,
        effect=float(np.median(recent)) - 1,
        effect_low=float(np.quantile(recent, 0.1)) - 1,
        effect_high=float(np.quantile(recent, 0.9)) - 1,
        causes=(Cause(names=names, weight=1.0),),
        checks=checks,
        evidence=(Evidence(name="system_coefficient_ratio", value=float(np.median(recent))),),
    )
