"""A visit to a pump with gauges, a strap-on meter or a shut valve: from what was read to what it says."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from api.analytics.curve import Curve
from api.analytics.facts import Provenance, PumpFacts
from api.analytics.field_check.expected import (
    Expected,
    Point,
    by_earlier_check,
    by_own_curve,
    by_sheet,
    head_sheet,
)
from api.analytics.field_check.gauges import EVEN, Gauge, Tap
from api.analytics.field_check.loss import Loss, loss
from api.analytics.field_check.reported import Beside, Reported
from api.analytics.field_check.total_head import HeadMeasured, total_head

FLOW_WITHIN: Final = 0.05
"""What a strap-on meter on a site's pipe is good for, unless stated [-] (common practice: 2-5 %)."""
_DRIVES_FLOW_WITHIN: Final = 0.05
_ROUGH_FLOW_WITHIN: Final = 0.35
"""A flow that the drive computes, or that nobody says how it comes by: enough for a velocity head, and for
nothing else (our own choice)."""
_DRIVES_SPEED_WITHIN: Final = 0.005
_ROUGH_SPEED_WITHIN: Final = 0.02
_TYPED_SPEED_WITHIN: Final = 0.002
"""A drive makes the frequency, so it knows the speed but for the slip; a tachometer shows it (our own)."""

FlowFrom = Literal["strap_on", "shutoff", "drive"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """What was read and typed. ``taps`` and ``gauges`` are those at suction and discharge.

    ``flow_m3h`` is a strap-on meter's, within ``flow_within`` [-]; ``speed_rpm`` is read by a person, else
    the drive's is taken. ``sheet_grade`` is a key of ``SHEET_GRADES``.
    """

    taps: tuple[Tap, Tap] | None = None
    gauges: tuple[Gauge, Gauge] | None = None
    is_one_gauge: bool = False
    flow_m3h: float | None = None
    flow_within: float = FLOW_WITHIN
    is_shutoff: bool = False
    speed_rpm: float | None = None
    sheet_grade: str = "2B"


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a visit says of its minutes.

    ``flow_from`` is where the flow comes from that ``head`` and ``point`` hold, ``None`` without one.
    ``unplaced`` is the code of what keeps the head from being compared with any curve, empty beside a point.
    ``beside`` are head, flow and speed, where a person measured them, beside what the drive reported.
    """

    head: HeadMeasured | None
    flow_m3h: float | None
    flow_sd_m3h: float
    flow_from: FlowFrom | None
    point: Point | None
    unplaced: str
    beside: Mapping[str, Beside]


def found(
    visit: Visit, facts: PumpFacts, reports: Mapping[str, Reported], *, is_steady: bool = True
) -> Found:
    """Return what a visit says, with the drive's reports of the same minutes.

    Raises
    ------
    ValueError
        When a number cannot be, or a velocity head needs a flow that nobody gave.
    """
    flow = _flow(visit, facts, reports)
    head = _head(visit, facts, flow)
    speed = _speed(visit, facts, reports)
    unplaced = _unplaced(head, flow, speed, is_steady=is_steady)
    return Found(
        head=head,
        flow_m3h=flow.value if flow else None,
        flow_sd_m3h=flow.sd if flow else 0.0,
        flow_from=flow.came_from if flow else None,
        point=_point(head, flow, speed) if head and flow and speed and not unplaced else None,
        unplaced=unplaced,
        beside=_beside(head, flow, speed if visit.speed_rpm is not None else None, reports),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Known:
    value: float
    sd: float
    came_from: FlowFrom | None = None
    is_rough: bool = False


def _flow(visit: Visit, facts: PumpFacts, reports: Mapping[str, Reported]) -> _Known | None:
    if visit.is_shutoff:
        return _Known(value=0.0, sd=0.0, came_from="shutoff")
    if visit.flow_m3h is not None:
        sd = visit.flow_within * visit.flow_m3h / EVEN
        return _Known(value=visit.flow_m3h, sd=sd, came_from="strap_on")
    drive = reports.get("flow_m3h")
    if drive is None or drive.mean <= 0:
        return None
    is_rough = facts.flow is not Provenance.MEASURED
    within = _ROUGH_FLOW_WITHIN if is_rough else _DRIVES_FLOW_WITHIN
    sd = math.hypot(within * drive.mean / EVEN, drive.mean_sd)
    return _Known(value=drive.mean, sd=sd, came_from="drive", is_rough=is_rough)


def _speed(visit: Visit, facts: PumpFacts, reports: Mapping[str, Reported]) -> _Known | None:
    if visit.speed_rpm is not None:
        return _Known(value=visit.speed_rpm, sd=_TYPED_SPEED_WITHIN * visit.speed_rpm / EVEN)
    drive = reports.get("speed_rpm")
    if drive is None or drive.mean <= 0:
        return None
    within = _DRIVES_SPEED_WITHIN if facts.speed is Provenance.MEASURED else _ROUGH_SPEED_WITHIN
    # A gauge is read at one moment of these minutes: the scatter of single readings is its own.
    return _Known(value=drive.mean, sd=math.hypot(within * drive.mean / EVEN, drive.sd))


def _head(visit: Visit, facts: PumpFacts, flow: _Known | None) -> HeadMeasured | None:
    if visit.taps is None or visit.gauges is None:
        return None
    suction, discharge = visit.taps
    if flow is None and suction.pipe_m != discharge.pipe_m:
        raise ValueError("the pipes differ, so the velocity head needs a flow, and the drive reported none")
    return total_head(
        suction,
        discharge,
        visit.gauges,
        flow.value if flow else 0.0,
        flow.sd if flow else 0.0,
        facts.density_kg_m3,
        is_one_gauge=visit.is_one_gauge,
    )


def _unplaced(
    head: HeadMeasured | None, flow: _Known | None, speed: _Known | None, *, is_steady: bool
) -> str:
    if head is None:
        return "no_gauges"
    if flow is None or flow.is_rough:
        return "no_own_flow"
    if speed is None:
        return "no_speed"
    if not is_steady:
        return "not_steady"
    return "" if head.head_m > 0 else "no_head"


def _point(head: HeadMeasured, flow: _Known, speed: _Known) -> Point:
    others = (value for name, value in head.from_m.items() if name != "flow")
    return Point(
        head_m=head.head_m,
        head_sd_m=math.hypot(*others),
        head_per_flow=2 * head.velocity_m / flow.value if flow.value else 0.0,
        flow_m3h=flow.value,
        flow_sd_m3h=flow.sd,
        speed_rpm=speed.value,
        speed_sd_rpm=speed.sd,
    )


def _beside(
    head: HeadMeasured | None,
    flow: _Known | None,
    typed_speed: _Known | None,
    reports: Mapping[str, Reported],
) -> Mapping[str, Beside]:
    measured = {
        "head_m": (head.head_m, head.sd_m) if head else None,
        "flow_m3h": (flow.value, flow.sd) if flow and flow.came_from == "strap_on" else None,
        "speed_rpm": (typed_speed.value, typed_speed.sd) if typed_speed else None,
    }
    return {
        name: Beside(measured=value[0], measured_sd=value[1], drive=reports[name])
        for name, value in measured.items()
        if value is not None and name in reports
    }


def losses(
    seen: Found, visit: Visit, facts: PumpFacts, curve: Curve | None, earlier: Sequence[Point]
) -> tuple[Loss, ...]:
    """Return the head against all that it can be held against, the best first; none without a point.

    An earlier check of the same pump comes first, since no tolerance of making lies between; of several the
    oldest of this kind, the nearest to how the pump was handed over. Never what the drive computes.
    """
    now = seen.point
    if now is None:
        return ()
    sheet = head_sheet(facts.data_sheet, facts.rated_speed_rpm)
    before = (by_earlier_check(point, now, sheet) for point in earlier)
    against: list[Expected | None] = [next((each for each in before if each is not None), None)]
    if curve is not None and facts.wear_can_be_seen and all(each.agrees for each in seen.beside.values()):
        against.append(by_own_curve(curve, now.flow_m3h, now.speed_rpm))
    if sheet is not None:
        against.append(by_sheet(sheet, now.flow_m3h, now.speed_rpm, visit.sheet_grade))
    return tuple(loss(now, each) for each in against if each is not None)
