"""A pump's own curve as lines to draw, and the region it was learned in as outlines."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from api.analysis.pump_pass import curve_of
from api.analytics.cells import SPEED_CELL
from api.analytics.curve import Curve
from api.analytics.facts import PumpFacts
from api.store.api_store import ApiStore
from dashboards.views import CurveLine, FloatArray, RegionPatch

LINE_POINTS: Final = 61
BAND_SD: Final = 2.0
"""The band that is drawn holds 95 % of healthy readings (normal distribution)."""
CLOSEST_SPEEDS: Final = 0.05
"""Lines at speeds nearer than this share lie on each other."""
BEYOND_SEEN: Final = 1.15


def curve_lines(curve: Curve, points: pd.DataFrame) -> tuple[CurveLine, ...]:
    """Return the curve at a few of the speeds seen in ``points``, slowest first."""
    ratio = _largest_ratio(curve, points)
    return tuple(_line(curve, speed, ratio) for speed in speeds_rpm(points) or [curve.typical_speed_rpm])


def earlier_lines(
    api_store: ApiStore, facts: PumpFacts, points: pd.DataFrame
) -> tuple[tuple[int, tuple[CurveLine, ...]], ...]:
    """Return up to when [ms UTC] each earlier baseline judged, and its curve at speeds of ``points`` then.

    A baseline that work ended before its curve was learned has no lines; ``points`` are indexed by time.
    """
    found, since = [], 0
    for until in sorted(event.time_utc_ms for event in facts.events if event.new_baseline):
        known = tuple(event for event in facts.events if event.time_utc_ms < until)
        curve = curve_of(api_store, replace(facts, events=known))
        then = points[(points.index >= since) & (points.index < until)]
        found.append((until, curve_lines(curve, then) if curve else ()))
        since = until
    return tuple(found)


def speeds_rpm(points: pd.DataFrame) -> list[float]:
    """Return a slow, a middle and a fast speed of those seen [rpm], fewer where they are alike or none is."""
    if points.empty:
        return []
    kept: list[float] = []
    for speed in np.quantile(points["speed_rpm"], [0.02, 0.5, 0.98]):
        if not kept or speed > kept[-1] * (1 + CLOSEST_SPEEDS):
            kept.append(float(speed))
    return kept


def _largest_ratio(curve: Curve, points: pd.DataFrame) -> float:
    learned = max((column for column, _ in curve.cells.cells), default=0) * curve.cells.flow_step
    typical = curve.typical_flow_m3h / curve.typical_speed_rpm
    seen = float((points["flow_m3h"] / points["speed_rpm"]).max()) if len(points) else 0.0
    return max(learned, typical, seen) * BEYOND_SEEN


def _line(curve: Curve, speed_rpm: float, largest_ratio: float) -> CurveLine:
    flow = np.linspace(0.0, largest_ratio * speed_rpm, LINE_POINTS)
    head, power = curve.head_m(flow, speed_rpm), curve.power_w(flow, speed_rpm)
    return CurveLine(
        speed_rpm=speed_rpm,
        flow_m3h=flow,
        head_m=head,
        power_w=power,
        head_band_m=_band(head, curve.head_band_m, curve.head_day_sd),
        power_band_w=_band(power, curve.power_band_w, curve.power_day_sd),
        learned=curve.covers(flow, speed_rpm),
    )


def _band(values: FloatArray, reading_sd: float, day_sd: float) -> FloatArray:
    return np.asarray(BAND_SD * np.hypot(reading_sd, day_sd * values))


def region_patches(curve: Curve) -> tuple[RegionPatch, ...]:
    """Return the outline of each cell of (flow/speed, speed) that the curve was learned in."""
    return tuple(_patch(curve, column, row) for column, row in curve.cells.cells)


def _patch(curve: Curve, column: int, row: int) -> RegionPatch:
    low, high = (column - 1) * curve.cells.flow_step, column * curve.cells.flow_step
    slow, fast = np.exp(row * SPEED_CELL), np.exp((row + 1) * SPEED_CELL)
    speed = np.array([slow, slow, fast, fast, slow])
    flow = np.array([low, high, high, low, low]) * speed
    return RegionPatch(flow_m3h=flow, head_m=curve.head_m(flow, speed), power_w=curve.power_w(flow, speed))
