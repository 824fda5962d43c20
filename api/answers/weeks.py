"""Energy, volume and their ratio, by local weeks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from api.analytics.energy import STANDARD_GRAVITY_M_S2, energy_weeks
from api.answers.counters import counters
from api.answers.findings import iso_utc
from api.answers.source import Source
from collector.site import Pump
from collector.store import HOUR_MS
from dashboards.counter_views import Counters
from dashboards.pages.week_table import is_part
from dashboards.views import EnergyWeek
from dashboards.week_views import WeeksCompared


def pump_weeks(
    source: Source, pump: Pump, hours: pd.DataFrame | None = None, density_kg_m3: float | None = None
) -> tuple[EnergyWeek, ...]:
    """Return a pump's weeks from local midnight to local midnight, oldest first."""
    rows = source.api_store.hours(pump.name) if hours is None else hours
    if rows.empty:
        return ()
    density = density_kg_m3 or source.facts(pump).density_kg_m3
    price = source.site.price_per_kwh
    known_until = max(int(rows.index[-1]) + HOUR_MS, source.clock.now_utc_ms())
    return tuple(
        EnergyWeek(
            start_utc_ms=week.start_utc_ms,
            end_utc_ms=week.end_utc_ms,
            energy_kwh=week.energy_kwh,
            volume_m3=week.volume_m3,
            kwh_per_m3=week.kwh_per_m3,
            running_h=week.running_h,
            starts=week.starts,
            share_with_readings=week.share_with_readings,
            has_ended=week.end_utc_ms <= known_until,
            mean_head_m=week.mean_head_m,
            efficiency=week.efficiency,
            cost=None if price is None else week.energy_kwh * price,
        )
        for week in energy_weeks(rows, source.site.time_zone, density)
    )


def site_week(source: Source, by_pump: Mapping[str, EnergyWeek]) -> EnergyWeek | None:
    """Return the site's week from its pumps' weeks: sums, and ratios of the sums.

    A mean head over pumps of separate circuits means nothing, so there is none. A pump whose readings
    contradict each other (water that takes more power than is drawn) is in no sum.
    """
    summed = {name: week for name, week in by_pump.items() if week.is_possible}
    weeks = list(summed.values())
    if not weeks:
        return None
    start, end = weeks[0].start_utc_ms, weeks[0].end_utc_ms
    costs = [week.cost for week in weeks if week.cost is not None]
    hours = {name: source.api_store.hours(name, start, end) for name in summed}
    return EnergyWeek(
        start_utc_ms=start,
        end_utc_ms=end,
        energy_kwh=sum(week.energy_kwh or 0.0 for week in weeks),
        volume_m3=sum(week.volume_m3 or 0.0 for week in weeks),
        kwh_per_m3=ratio_of_sums(pd.concat(hours.values()), start, end),
        running_h=sum(week.running_h for week in weeks),
        starts=sum(week.starts for week in weeks),
        share_with_readings=sum(week.share_with_readings for week in weeks) / len(weeks),
        has_ended=all(week.has_ended for week in weeks),
        efficiency=_efficiency_of_all(source, hours),
        cost=sum(costs) if costs else None,
    )


def _efficiency_of_all(source: Source, hours: Mapping[str, pd.DataFrame]) -> float | None:
    """Return the work done on the water by all pumps over the energy taken meanwhile [-]."""
    work_j = taken_kwh = 0.0
    for name, rows in hours.items():
        if not rows.empty:
            total = rows.sum()
            density = source.facts(source.site.pump(name)).density_kg_m3
            work_j += density * STANDARD_GRAVITY_M_S2 * float(total["volume_head_m4"])
            taken_kwh += float(total["lifted_energy_kwh"])
    return work_j / 3.6e6 / taken_kwh if taken_kwh > 0 else None


def weeks_compared(
    source: Source, week: Mapping[str, EnergyWeek], before: Mapping[str, EnergyWeek]
) -> WeeksCompared | None:
    """Return two weeks' energy per volume over the pumps of which both are whole and possible.

    A pump in one of the two alone, or with a part of one, would make a change that no pump has.
    """
    same = are_compared(week, before)
    ratios = [_ratio_of(source, same, weeks) for weeks in (week, before)]
    now, then = ratios
    if now is None or then is None:
        return None
    return WeeksCompared(pumps=len(same), kwh_per_m3=now, before_kwh_per_m3=then)


def are_compared(week: Mapping[str, EnergyWeek], before: Mapping[str, EnergyWeek]) -> list[str]:
    """Return the pumps of which both weeks are whole and possible, and that moved water in one of them.

    A pump that stood still all week is one of them: that others moved its water is a change of the site.
    """
    pairs = {name: (week[name], before[name]) for name in week if name in before}
    return [
        name
        for name, both in pairs.items()
        if all(map(_is_whole, both)) and any(each.kwh_per_m3 is not None for each in both)
    ]


def _is_whole(week: EnergyWeek) -> bool:
    return week.is_possible and not is_part(week)


def _ratio_of(source: Source, pumps: Sequence[str], weeks: Mapping[str, EnergyWeek]) -> float | None:
    if not pumps:
        return None
    start, end = weeks[pumps[0]].start_utc_ms, weeks[pumps[0]].end_utc_ms
    return ratio_of_sums(pd.concat([source.api_store.hours(name, start, end) for name in pumps]), start, end)


def ratio_of_sums(hours: pd.DataFrame, start_utc_ms: int, end_utc_ms: int) -> float | None:
    """Return energy per volume [kWh/m³] from start up to end (exclusive), ``None`` when nothing moved."""
    if hours.empty:
        return None
    part = hours[(hours.index >= start_utc_ms) & (hours.index < end_utc_ms)]
    volume = float(part["paired_volume_m3"].sum())
    return float(part["paired_energy_kwh"].sum()) / volume if volume > 0 else None


def plain_week(pump: str, week: EnergyWeek) -> dict[str, Any]:
    """Return a week as programs read it."""
    return {
        "pump": pump,
        "week_start_utc": iso_utc(week.start_utc_ms),
        "week_end_utc": iso_utc(week.end_utc_ms),
        "energy_kwh": week.energy_kwh,
        "volume_m3": week.volume_m3,
        "kwh_per_m3": week.kwh_per_m3,
        "running_h": week.running_h,
        "starts": week.starts,
        "mean_head_m": week.mean_head_m,
        "efficiency": week.efficiency,
        "is_possible": week.is_possible,
        "share_with_readings": week.share_with_readings,
        "week_has_ended": week.has_ended,
        "cost": week.cost,
        **_plain_counters(week.counters or Counters()),
    }


def _plain_counters(counters: Counters) -> dict[str, Any]:
    is_known = counters.energy_kwh is not None
    over = None if counters.difference is None else 1 + counters.difference
    return {
        "counter_kwh": counters.energy_kwh,
        "counter_across_gaps_kwh": counters.across_gaps_kwh if is_known else None,
        "integrated_over_counter": over,
        "counter_run_time_h": counters.run_time_h,
        "counter_notices": [
            {"counter": item.counter, "hour_utc": iso_utc(item.time_utc_ms), "what": item.what}
            for item in counters.notices
        ],
    }


def with_counters(source: Source, pump: Pump, week: EnergyWeek) -> EnergyWeek:
    """Return a week with what the drive's own counters say of it."""
    return replace(week, counters=counters(source, pump, week.start_utc_ms, week.end_utc_ms))


def listed_weeks(source: Source, pump: str | None = None) -> list[dict[str, Any]]:
    """Return the weeks of one pump or all as programs read them."""
    pumps = [item for item in source.site.pumps if pump in (None, item.name)]
    return [
        plain_week(item.name, with_counters(source, item, week))
        for item in pumps
        for week in pump_weeks(source, item)
    ]


def weeks_by_pump(source: Source) -> Mapping[str, tuple[EnergyWeek, ...]]:
    """Return every pump's weeks, in the site file's order."""
    return {pump.name: pump_weeks(source, pump) for pump in source.site.pumps}
