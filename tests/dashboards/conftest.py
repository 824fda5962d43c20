"""An invented site with every kind of finding."""

# ruff: noqa: ANN401 - the makers take any field of the view that they make
from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from api.analytics.finding import Kind
from dashboards import views, week_views

HOUR_MS = 3_600_000
NOW_MS = 1_792_591_200_000  # 21 October 2026, 10:00 UTC
HOSTILE = "<img src=x onerror=alert(1)> & <b>P9</b>/\u202e"
PRIORITIES = {
    Kind.DRY_RUNNING: "urgent",
    Kind.CLOSED_DISCHARGE: "urgent",
    Kind.AIR_BINDING: "soon",
    Kind.REPEATED_STARTS: "soon",
    Kind.NO_REPLY: "soon",
    Kind.DRIVE_FAULT: "urgent",
    Kind.SYSTEM_CHANGE: "information",
    Kind.RESISTANCE_RISE: "information",
    Kind.FLUID_CHANGE: "information",
    Kind.NOT_ASSESSABLE: "information",
}
EFFECTS: dict[Kind, dict[str, Any]] = {
    Kind.HEAD_LOSS: {"effect": -0.041, "effect_low": -0.049, "effect_high": -0.033},
    Kind.POWER_SHIFT: {"effect": 0.061, "effect_low": 0.05, "effect_high": 0.072},
    Kind.REPEATED_STARTS: {"effect": 9.0, "effect_unit": "1/h"},
    Kind.HUNTING: {"effect": 84.0, "effect_unit": "rpm"},
    Kind.NO_REPLY: {"effect": 3.2, "effect_unit": "h"},
    Kind.DRIVE_FAULT: {
        "effect": 4102.0,
        "effect_unit": "1",
        "fault_meaning": "Motor too hot\nClear the fan and the fins",
    },
    Kind.SYSTEM_CHANGE: {"effect": -0.2, "effect_low": -0.23, "effect_high": -0.17},
}


def card(kind: Kind, pump: str = "P02", number: int = 1, **more: Any) -> views.FindingCard:
    facts: dict[str, Any] = {
        "identity": number,
        "pump": pump,
        "kind": kind.value,
        "priority": PRIORITIES.get(kind, "planned"),
        "state": "active",
        "first_utc_ms": NOW_MS - 9 * 24 * HOUR_MS,
        "last_utc_ms": NOW_MS - HOUR_MS,
        "assessable_share": 0.91,
    }
    return views.FindingCard(**(facts | EFFECTS.get(kind, {}) | more))


def worn(pump: str = "P02", number: int = 1) -> views.FindingCard:
    return card(
        Kind.HEAD_LOSS,
        pump,
        number,
        causes=(
            views.LikelyCause(names=("ring_leakage", "impeller_wear"), weight=0.86),
            views.LikelyCause(names=("head_sensor_reads_low",), weight=0.14),
        ),
        evidence=(
            views.EvidenceNumber(name="head_at_duty_m", value=7.94),
            views.EvidenceNumber(name="own_curve_head_at_duty_m", value=8.28),
            views.EvidenceNumber(name="head_residual_fraction", value=-0.041),
            views.EvidenceNumber(name="hours_used", value=187),
        ),
        checks=("compare_gauges", "shutoff_head_test", "verify_flow_meter"),
        history=(views.Change(time_utc_ms=NOW_MS - 9 * 24 * HOUR_MS, what="opened"),),
    )


def live_values(
    speed: float, power: float, flow: float | None, head: float | None
) -> tuple[views.LiveValue, ...]:
    shares = {"speed_rpm": speed, "power_w": power, "flow_m3h": flow, "head_m": head}
    found = tuple(
        views.LiveValue(quantity=name, value=value, quality="good" if value is not None else "no_value")
        for name, value in shares.items()
    )
    efficiency = None if flow is None or head is None else 998.2 * 9.80665 * flow / 3600 * head / power
    return (*found, views.LiveValue(quantity="efficiency", value=efficiency, quality="no_value"))


def row(name: str, *findings: views.FindingCard, **more: Any) -> views.PumpRow:
    days = 6 + np.sin(np.arange(42) / 3) + np.arange(42) * 0.02
    days[17:19] = np.nan
    facts: dict[str, Any] = {
        "name": name,
        "state": "running",
        "location": "Plant room",
        "duty": "Heating circuit",
        "last_reading_utc_ms": NOW_MS - 4000,
        "live": live_values(2403, 655, 14.2, 7.94),
        "findings": findings,
        "assessable_share": 0.93,
        "week_kwh_per_m3": 0.0452,
        "week_before_kwh_per_m3": 0.0449,
        "head_against_curve": -0.002,
        "daily_energy_kwh": days,
    }
    return views.PumpRow(**(facts | more))


def frame(**more: Any) -> views.PageFrame:
    facts: dict[str, Any] = {
        "site_name": "Lindgrove swimming hall",
        "time_zone": "Europe/Lisbon",
        "units": "SI",
        "now_utc_ms": NOW_MS,
        "data_as_of_utc_ms": NOW_MS - 4000,
        "currency": "EUR",
    }
    return views.PageFrame(**(facts | more))


def rows_to_act_on() -> tuple[views.PumpRow, ...]:
    hour_ago = NOW_MS - HOUR_MS
    limit = (views.EvidenceNumber(name="starts_limit_per_hour", value=6),)
    air = card(Kind.AIR_BINDING, "P03", 2, evidence=(views.EvidenceNumber(name="episodes", value=7),))
    at_rest: dict[str, Any] = {"state": "standing", "live": live_values(0, 12, 0.0, 0.0)}
    silent: dict[str, Any] = {"state": "no_reply", "live": live_values(0, 12, None, None)}
    blank: dict[str, Any] = {"head_against_curve": None, "daily_energy_kwh": None}
    return (
        row("P02", worn(), duty="Pool filter B", head_against_curve=-0.041),
        row("P03", air),
        row("P04", card(Kind.REPEATED_STARTS, "P04", 3, evidence=limit), head_against_curve=None, **at_rest),
        row("P06", card(Kind.CLOSED_DISCHARGE, "P06", 4, first_utc_ms=hour_ago), duty="Ventilation coil"),
        row("P07", card(Kind.NO_REPLY, "P07", 5, first_utc_ms=NOW_MS - 3 * HOUR_MS), **silent, **blank),
        row(HOSTILE, card(Kind.DRIVE_FAULT, HOSTILE, 7, first_utc_ms=hour_ago), **NO_DATA, **blank),
    )


NO_DATA: dict[str, Any] = {
    "state": "no_data",
    "live": (),
    "week_kwh_per_m3": None,
    "assessable_share": None,
}


def quiet_rows() -> tuple[views.PumpRow, ...]:
    reason = (views.LikelyCause(names=("estimated_flow_or_head",), weight=1.0),)
    blind = card(Kind.NOT_ASSESSABLE, "P05", 8, assessable_share=0.0, causes=reason)
    return (
        row("P01", duty="Pool filter A"),
        row("P05", blind, head_against_curve=None, assessable_share=0.0, duty="Hot water return"),
        row("P08", card(Kind.SYSTEM_CHANGE, "P08", 6), week_kwh_per_m3=0.061),
    )


def site(**more: Any) -> views.SitePage:
    return views.SitePage(frame=frame(**more), pumps=(*quiet_rows(), *rows_to_act_on()))


def weeks(count: int = 8) -> tuple[views.EnergyWeek, ...]:
    start = NOW_MS - count * 168 * HOUR_MS
    return tuple(
        views.EnergyWeek(
            start_utc_ms=start + place * 168 * HOUR_MS,
            end_utc_ms=start + (place + 1) * 168 * HOUR_MS,
            energy_kwh=104.0 + place,
            volume_m3=2310.0,
            kwh_per_m3=(104.0 + place) / 2310.0,
            running_h=160.2,
            starts=7,
            share_with_readings=0.99 if place != 3 else 0.4,
            has_ended=place != count - 1,
            mean_head_m=8.1,
            efficiency=0.56,
            cost=18.2,
        )
        for place in range(count)
    )


def pump_page(**more: Any) -> views.PumpPage:
    earlier = card(
        Kind.AIR_BINDING,
        number=20,
        state="returned_to_normal",
        first_utc_ms=NOW_MS - 40 * 24 * HOUR_MS,
        last_utc_ms=NOW_MS - 39 * 24 * HOUR_MS,
    )
    return views.PumpPage(
        frame=frame(**more),
        row=row("P02", worn(), duty="Pool filter B"),
        provenance={name: "measured" for name in ("speed", "power", "flow", "head")},
        findings=(worn(), card(Kind.SYSTEM_CHANGE, number=6), earlier),
        weeks=weeks(),
        services=(views.ServiceMark(time_utc_ms=NOW_MS - 5 * 24 * HOUR_MS, kind="strainer_cleaned"),),
        rated_speed_rpm=2900,
        rated_power_w=1500,
        curve_hours=480,
        curve_first_utc_ms=NOW_MS - 56 * 24 * HOUR_MS,
        curve_last_utc_ms=NOW_MS - 28 * 24 * HOUR_MS,
        first_reading_utc_ms=NOW_MS - 56 * 24 * HOUR_MS,
    )


def week_page(**more: Any) -> week_views.WeekPage:
    last = weeks()
    pumps = tuple(
        week_views.PumpWeek(pump=name, week=last[-2], before=last[-3]) for name in ("P01", "P02", HOSTILE)
    )
    return week_views.WeekPage(
        frame=frame(**more),
        start_utc_ms=last[-2].start_utc_ms,
        end_utc_ms=last[-2].end_utc_ms,
        pumps=pumps,
        site=last[-2],
        compared=week_views.WeeksCompared(
            pumps=len(pumps), kwh_per_m3=110 / 2310, before_kwh_per_m3=109 / 2310
        ),
        previous_start_utc_ms=last[-3].start_utc_ms,
    )


@dataclass(frozen=True)
class Pump:
    """A pump by the affinity laws, for pictures only."""

    def head_m(self, flow_m3h: Any, speed_rpm: Any) -> Any:
        return 1.75e-6 * speed_rpm**2 - 0.0102 * flow_m3h**2

    def power_w(self, flow_m3h: Any, speed_rpm: Any) -> Any:
        return 2.2e-8 * speed_rpm**3 + 3.6e-6 * speed_rpm**2 * flow_m3h + 40

    def line(self, speed_rpm: float) -> views.CurveLine:
        flow = np.linspace(0, speed_rpm / 2400 * 24, 60)
        head, power = self.head_m(flow, speed_rpm), self.power_w(flow, speed_rpm)
        learned = (flow > speed_rpm / 2400 * 6) & (flow < speed_rpm / 2400 * 19)
        return views.CurveLine(
            speed_rpm=speed_rpm,
            flow_m3h=flow,
            head_m=head,
            power_w=power,
            learned=learned,
            head_band_m=np.full(60, 0.12),
            power_band_w=np.full(60, 14.0),
        )

    def patch(self, low: float, high: float) -> views.RegionPatch:
        speed = np.concatenate([np.full(20, low), np.full(20, high)])
        share = np.concatenate([np.linspace(6, 19, 20), np.linspace(19, 6, 20)])
        flow = share * speed / 2400
        return views.RegionPatch(
            flow_m3h=flow, head_m=self.head_m(flow, speed), power_w=self.power_w(flow, speed)
        )


def curve_picture(points: int = 1500, **more: Any) -> views.CurvePicture:
    random, pump = np.random.default_rng(7), Pump()
    time = np.linspace(NOW_MS - 7 * 24 * HOUR_MS, NOW_MS, points).astype(np.int64)
    speed = 2050 + 350 * np.sin(np.arange(points) / 90) + random.normal(0, 6, points)
    flow = speed / 2400 * (12.5 + 4 * np.sin(np.arange(points) / 61)) + random.normal(0, 0.1, points)
    head = pump.head_m(flow, speed) * (1 - 0.041 * np.linspace(0.3, 1, points)) + random.normal(
        0, 0.04, points
    )
    power = pump.power_w(flow, speed) + random.normal(0, 5, points)
    facts: dict[str, Any] = {
        "pump": "P02",
        "units": "SI",
        "time_zone": "Europe/Lisbon",
        "time_utc_ms": time,
        "speed_rpm": speed,
        "flow_m3h": flow,
        "head_m": head,
        "power_w": power,
        "lines": tuple(pump.line(each) for each in (1700.0, 2050.0, 2400.0)),
        "region": (pump.patch(1650, 2450),),
        "now": views.DutyPoint(time_utc_ms=NOW_MS, speed_rpm=2403, flow_m3h=14.2, head_m=7.6, power_w=655),
    }
    return views.CurvePicture(**(facts | more))


def finding_spans() -> tuple[views.FindingSpan, ...]:
    worn_since = views.FindingSpan(
        identity=1,
        kind="head_loss",
        priority="planned",
        is_active=True,
        first_utc_ms=NOW_MS - 5 * 24 * HOUR_MS,
        last_utc_ms=NOW_MS - HOUR_MS,
    )
    air = views.FindingSpan(
        identity=2,
        kind="air_binding",
        priority="soon",
        is_active=False,
        first_utc_ms=NOW_MS - 60 * HOUR_MS,
        last_utc_ms=NOW_MS - 50 * HOUR_MS,
    )
    return (worn_since, air)


def trend_picture(points: int = 1500, **more: Any) -> views.TrendPicture:
    base = curve_picture(points)
    place = np.arange(points)
    in_gap = (place > 400) & (place < 440)
    series = tuple(
        views.TrendSeries(
            quantity=name, time_utc_ms=base.time_utc_ms, value=np.where(in_gap, np.nan, getattr(base, name))
        )
        for name in ("speed_rpm", "flow_m3h", "head_m", "power_w")
    )
    facts: dict[str, Any] = {
        "pump": "P02",
        "units": "SI",
        "time_zone": "Europe/Lisbon",
        "start_utc_ms": NOW_MS - 7 * 24 * HOUR_MS,
        "end_utc_ms": NOW_MS,
        "series": series,
        "findings": finding_spans(),
        "services": (views.ServiceMark(time_utc_ms=NOW_MS - 96 * HOUR_MS, kind="vented"),),
    }
    return views.TrendPicture(**(facts | more))


def energy_picture(**more: Any) -> views.EnergyPicture:
    facts: dict[str, Any] = {"pump": "P02", "units": "SI", "time_zone": "Europe/Lisbon", "weeks": weeks()}
    return views.EnergyPicture(**(facts | more))


@pytest.fixture(scope="session")
def invented() -> SimpleNamespace:
    """The makers of invented views, by name."""
    return SimpleNamespace(
        card=card,
        worn=worn,
        row=row,
        live_values=live_values,
        frame=frame,
        site=site,
        pump_page=pump_page,
        week_page=week_page,
        curve_picture=curve_picture,
        trend_picture=trend_picture,
        energy_picture=energy_picture,
        weeks=weeks,
        NOW_MS=NOW_MS,
        HOUR_MS=HOUR_MS,
        HOSTILE=HOSTILE,
    )
