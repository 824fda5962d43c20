"""Head, power, energy and the system's resistance, each against the pump's own curve, before and since."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.cells import SPEED_CELL, Births, no_births
from api.analytics.change import Days, by_day
from api.analytics.curve import BASELINE_DAYS, Curve
from api.analytics.energy.duties import speed_for_rpm
from api.analytics.facts import PumpFacts
from api.analytics.movement import FORM_SD
from api.analytics.observations import Observations
from api.analytics.repair.levels import Levels, levels
from api.analytics.repair.stretch import Stretch, between
from api.analytics.residual_days import evenness, head_days, power_days
from api.analytics.residuals import POWER_BELIEF_SD, Residuals, calm_hours, residuals
from api.analytics.spans import DAY_MS
from api.analytics.system import most_open
from api.analytics.verdicts import NORMAL_95

FloatArray = NDArray[np.float64]

LEAST_HOURS: Final = 4
"""Fewer judged hours on one side of the work say nothing (our own choice)."""


class Quantity(StrEnum):
    """What is compared; each as a share of the pump's own curve but the last."""

    HEAD = "head"
    """At the same flow and speed."""
    POWER = "power"
    """At the same flow and speed."""
    ENERGY = "energy"
    """At the same flow and head: what the pump takes for the water that it moved."""
    RESISTANCE = "resistance"
    """The system's. Weather and demand move it over weeks: its interval is of the days' noise alone."""


_FORM_SD: Final = {Quantity.HEAD: float(FORM_SD[0]), Quantity.POWER: float(FORM_SD[3])}


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A quantity before and since [-] with 95 % intervals: ``since`` against the own curve, and its change.

    ``change`` is relative: 0.04 is 4 % more than before.
    """

    quantity: Quantity
    before: float
    since: float
    since_low: float
    since_high: float
    change: float
    change_low: float
    change_high: float
    levels: Levels


def measured(
    hours: pd.DataFrame, curve: Curve, facts: PumpFacts, stretch: Stretch
) -> dict[Quantity, Measured]:
    """Return what can be compared of the hours around a piece of work.

    ``facts`` are those of before the work, and ``curve`` the one learned before it: a new baseline that the
    work began is compared with the old curve where both know the duty.
    """
    at_utc_ms = stretch.done_utc_ms
    sides = (between(hours, 0, stretch.begun_utc_ms), between(hours, at_utc_ms, stretch.end_utc_ms))
    around = pd.concat(sides)
    calm = calm_hours(around, curve, facts)
    found = [_of(Quantity.RESISTANCE, _resistance_days(calm, at_utc_ms))]
    if facts.wear_can_be_seen:
        judged = residuals(around, curve, facts, births_known_before(curve, calm))
        judged = replace(judged, day=days_since(judged.hour_utc_ms, at_utc_ms))
        found += [
            _of(Quantity.HEAD, head_days(judged, np.ones(len(judged.day)))),
            _of(Quantity.POWER, power_days(judged)),
            _of(Quantity.ENERGY, _energy_days(judged, curve)),
        ]
    return {each.quantity: each for each in found if each is not None}


def days_since(hour_utc_ms: NDArray[np.int64], at_utc_ms: int) -> NDArray[np.int64]:
    """Return how many whole days each hour lies after the work, negative before: no day holds both."""
    return (hour_utc_ms - at_utc_ms) // DAY_MS


def births_known_before(curve: Curve, calm: Observations) -> Births:
    """Return since when each cell is known: the baseline's since its end, others since these hours."""
    column, row = np.array(curve.cells.cells, dtype=float).reshape(-1, 2).T
    speed = np.exp((row + 0.5) * SPEED_CELL)
    flow = (column - 0.5) * curve.cells.flow_step * speed
    known = np.full(len(row), curve.last_hour_utc_ms // DAY_MS)
    twice = no_births(curve.cells.flow_step).with_hours(*(np.repeat(x, 2) for x in (flow, speed, known)))
    return twice.with_hours(calm.flow_m3h, calm.speed_rpm, calm.day)


def _energy_days(judged: Residuals, curve: Curve) -> Days:
    """Sum up by day the logarithm of power over that of the own curve at the same flow and head."""
    own_rpm = speed_for_rpm(curve, judged.seen.flow_m3h, judged.seen.head_m)
    own_w = curve.power_w(judged.seen.flow_m3h, own_rpm)
    known = judged.in_baseline_cells & judged.power_is_calm & np.isfinite(own_w) & (own_w > 0)
    log = np.log(judged.seen.power_w[known] / own_w[known])
    scale = evenness(judged.power_lever)[known]
    return by_day(
        judged.day[known], judged.features[known] * scale[:, None], scale, log * scale, POWER_BELIEF_SD
    )


def _resistance_days(calm: Observations, at_utc_ms: int) -> Days:
    moving = calm.where((calm.flow_m3h > 0) & (calm.head_m > 0))
    coefficient = most_open(replace(moving, day=days_since(moving.hour_utc_ms, at_utc_ms)))
    ones = np.ones(len(coefficient))
    day = coefficient.index.to_numpy(dtype=np.int64)
    log = np.log(coefficient.to_numpy(dtype=float))
    # A day's most open hours make one number, so that a day counts as an hour.
    return by_day(day, ones[:, None], ones, log - (np.median(log) if len(log) else 0.0), np.array([1.0]))


def _of(quantity: Quantity, days: Days) -> Measured | None:
    least = 1 if quantity is Quantity.RESISTANCE else LEAST_HOURS
    sides = (days.hours[days.day < 0].sum(), days.hours[days.day >= 0].sum())
    found = levels(days) if min(sides) >= least else None
    return None if found is None else _told(quantity, found)


def _told(quantity: Quantity, found: Levels) -> Measured:
    half = NORMAL_95 * found.change_error
    half_since = NORMAL_95 * found.since_error(BASELINE_DAYS, _FORM_SD.get(quantity, float(FORM_SD[3])))
    ends = (found.change, found.change - half, found.change + half)
    if quantity in (Quantity.ENERGY, Quantity.RESISTANCE):
        change, low, high = np.expm1(ends).tolist()
        before, since, since_low, since_high = np.expm1(
            [found.before, found.since, found.since - half_since, found.since + half_since]
        ).tolist()
    else:
        change, low, high = ((end / (1 + found.before)) for end in ends)
        before, since = found.before, found.since
        since_low, since_high = found.since - half_since, found.since + half_since
    return Measured(
        quantity=quantity,
        before=before,
        since=since,
        since_low=since_low,
        since_high=since_high,
        change=change,
        change_low=low,
        change_high=high,
        levels=found,
    )
