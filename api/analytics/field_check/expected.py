"""The head that a pump should give at a flow and speed, by what is known of it besides its own drive."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from api.analytics.curve import Curve
from api.analytics.field_check.gauges import EVEN

SHEET_GRADES: Final = {"1B": (0.03, 0.05), "2B": (0.05, 0.08), "3B": (0.07, 0.09)}
"""Tolerance of head and of flow [-] by the grade a pump was sold with: ISO 9906:2012, from memory."""
_FEWEST_POINTS: Final = 3
_EDGE: Final = 0.02
"""A point of the sheet within so much of its range may stand for its edge (our own choice)."""
_USUAL_SLOPE: Final = -0.5
_USUAL_SLOPE_SD: Final = 0.4
"""Relative change of head a relative change of flow near the duty, where no curve tells: of a parabola that
falls by a fifth from shutoff to duty (common practice: shutoff head 1.1-1.5 times that at duty)."""
SENSOR_SHARE: Final = 0.02
"""How far the sensors that the own curve was learned from may be off unseen [-], even within (our own)."""
_NEAR_DUTY: Final = 0.10
"""Without a curve, two checks are compared up to so much difference in flow over speed (our own choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """Head at one flow and speed [m], how fast it changes with flow [m/(m3/h)], and how well it is known [m].

    ``by`` is what it is known from: ``data_sheet``, ``earlier_check`` or ``own_curve``.
    """

    head_m: float
    slope_m_per_m3h: float
    sd_m: float
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadSheet:
    """The data sheet's head over flow at rated speed as a parabola, where it was printed.

    ``shape_sd`` [-] is how far its points lie beside the parabola, of the largest head.
    """

    coefficients: tuple[float, float, float]
    rated_speed_rpm: float
    flow_range_m3h: tuple[float, float]
    shape_sd: float

    def head_m(self, flow_m3h: float, speed_rpm: float) -> float:
        """Return the head [m] by the affinity laws."""
        constant, line, square = self.coefficients
        share = speed_rpm / self.rated_speed_rpm
        return share**2 * constant + share * line * flow_m3h + square * flow_m3h**2

    def slope(self, flow_m3h: float, speed_rpm: float) -> float:
        """Return how head changes with flow [m/(m3/h)]."""
        _, line, square = self.coefficients
        return speed_rpm / self.rated_speed_rpm * line + 2 * square * flow_m3h

    def covers(self, flow_m3h: float, speed_rpm: float) -> bool:
        """Whether the sheet was printed there: nothing is carried on beyond its points."""
        low, high = self.flow_range_m3h
        edge = _EDGE * high
        return low - edge <= flow_m3h / speed_rpm * self.rated_speed_rpm <= high + edge


def head_sheet(
    points: Sequence[tuple[float, float, float | None]], rated_speed_rpm: float | None
) -> HeadSheet | None:
    """Return the sheet of points of flow [m3/h] and head [m].

    ``None`` without a rated speed or three flows.
    """
    flows = np.array([point[0] for point in points])
    heads = np.array([point[1] for point in points])
    if rated_speed_rpm is None or len(set(flows.tolist())) < _FEWEST_POINTS:
        return None
    scale = float(flows.max())
    square, line, constant = np.polyfit(flows / scale, heads, 2).tolist()
    beside = heads - np.polyval([square, line, constant], flows / scale)
    freedom = max(len(flows) - _FEWEST_POINTS, 1)
    return HeadSheet(
        coefficients=(constant, line / scale, square / scale**2),
        rated_speed_rpm=rated_speed_rpm,
        flow_range_m3h=(float(flows.min()), scale),
        shape_sd=float(np.sqrt(np.sum(beside**2) / freedom) / heads.max()),
    )


def by_sheet(sheet: HeadSheet, flow_m3h: float, speed_rpm: float, grade: str) -> Expected | None:
    """Return the head of the data sheet with the tolerance of its grade, ``None`` where it is not printed.

    A pump may miss head and flow both: ISO 9906 judges by the curve through both tolerances, here joined as
    independent, each even within its own (from memory).
    """
    head, slope = sheet.head_m(flow_m3h, speed_rpm), sheet.slope(flow_m3h, speed_rpm)
    if not sheet.covers(flow_m3h, speed_rpm) or head <= 0:
        return None
    of_head, of_flow = SHEET_GRADES[grade]
    tolerance = math.hypot(of_head * head, of_flow * flow_m3h * slope) / EVEN
    return Expected(
        head_m=head,
        slope_m_per_m3h=slope,
        sd_m=math.hypot(tolerance, sheet.shape_sd * head),
        by="data_sheet",
    )


def by_own_curve(curve: Curve, flow_m3h: float, speed_rpm: float) -> Expected | None:
    """Return the head of the pump's own curve, ``None`` beyond where it was learned.

    Only for a pump whose flow and head are measured, and whose sensors agree with this visit: of any other it
    is the drive's built-in curve or a sensor's error, and no wear is concluded against those.
    """
    if not bool(np.all(curve.covers(flow_m3h, speed_rpm))):
        return None
    head = float(curve.head_m(flow_m3h, speed_rpm))
    _, line, square = curve.head_coefficients
    return Expected(
        head_m=head,
        slope_m_per_m3h=line * speed_rpm + 2 * square * flow_m3h,
        sd_m=math.hypot(curve.head_day_sd, SENSOR_SHARE / EVEN) * head,
        by="own_curve",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """What a check found: total head [m], flow [m3/h] and speed [rpm] with their standard uncertainties.

    ``head_sd_m`` is without what flow gives to it; ``head_per_flow`` [m/(m3/h)] is that, by velocity head.
    """

    head_m: float
    head_sd_m: float
    head_per_flow: float
    flow_m3h: float
    flow_sd_m3h: float
    speed_rpm: float
    speed_sd_rpm: float

    @property
    def is_shutoff(self) -> bool:
        """Whether nothing flowed."""
        return self.flow_m3h == 0


def by_earlier_check(before: Point, now: Point, sheet: HeadSheet | None) -> Expected | None:
    """Return what an earlier check of this pump says of the head now; ``None`` where they can't be compared.

    The earlier head goes to this speed by the affinity laws, and from its flow to this one along the data
    sheet's shape; without a sheet along a usual one, and not far. No tolerance enters: it is the same pump.
    The two checks' errors are taken for independent, which is cautious where they shared a gauge.
    """
    if before.is_shutoff != now.is_shutoff:
        return None
    share = now.speed_rpm / before.speed_rpm
    there = _carried(share * before.flow_m3h, now, sheet)
    if there is None:
        return None
    ratio, ratio_sd, slope = there
    own_slope = slope * share**2 * before.head_m * ratio
    by_flow = (share**2 * before.head_per_flow - own_slope * share) * before.flow_sd_m3h
    by_speed = (2 * share**2 * before.head_m - own_slope * share * before.flow_m3h) * before.speed_sd_rpm
    head = share**2 * before.head_m * ratio
    parts = (
        share**2 * before.head_sd_m,
        by_flow,
        by_speed / before.speed_rpm,
        head * ratio_sd,
    )
    return Expected(head_m=head, slope_m_per_m3h=own_slope, sd_m=math.hypot(*parts), by="earlier_check")


def _carried(flow_then_m3h: float, now: Point, sheet: HeadSheet | None) -> tuple[float, float, float] | None:
    """Return head now over then, its standard uncertainty [-], and the relative slope there [1/(m3/h)]."""
    if now.is_shutoff:
        return 1.0, 0.0, 0.0
    if sheet is not None and all(sheet.covers(flow, now.speed_rpm) for flow in (flow_then_m3h, now.flow_m3h)):
        then, here = (sheet.head_m(flow, now.speed_rpm) for flow in (flow_then_m3h, now.flow_m3h))
        return here / then, 0.0, sheet.slope(now.flow_m3h, now.speed_rpm) / here
    further = now.flow_m3h / flow_then_m3h - 1
    if abs(further) > _NEAR_DUTY:
        return None
    return 1 + _USUAL_SLOPE * further, _USUAL_SLOPE_SD * abs(further), _USUAL_SLOPE / now.flow_m3h
