"""Why a week's energy per volume changed: held against another period, parted exactly."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Final

import pandas as pd

from api.analysis.pump_pass import curve_of
from api.analytics.energy.factors import Factors
from api.analytics.energy.split import Part, Split, split, split_of_site
from api.analytics.energy.weeks import same_week_last_year, week_of
from api.answers.judged_factors import both_factors, told_by_all
from api.answers.source import Source
from api.answers.weeks import are_compared, pump_weeks, ratio_of_sums
from collector.site import Pump
from collector.store import HOUR_MS
from dashboards.moments import local
from dashboards.pages.week_table import ENOUGH
from dashboards.views import EnergyWeek
from dashboards.why_views import Against, Compared, NoComparison, NotCompared, WhyPart

NOTHING_KWH_PER_M3: Final = 1e-12
"""A rest so small is rounding, and no row of a table."""
AGAINST: Final[tuple[Against, ...]] = ("before", "last_year", "baseline")


@dataclass(frozen=True, slots=True)
class _Span:
    start_utc_ms: int
    end_utc_ms: int


def why(source: Source, pump: Pump, week: EnergyWeek, against: Against) -> Compared | NotCompared:
    """Return why a pump's week differs from another period."""
    span = _span(source, pump, week, against)
    if span is None:
        return NotCompared(against=against, because="no_baseline")
    now, then = (_hours(source, pump.name, each) for each in (_of(week), span))
    trouble = _trouble(source, pump, now, then)
    if trouble is not None:
        return NotCompared(against=against, because=trouble)
    both = both_factors(source, pump, now, then)
    if both.now is None or both.then is None:
        return NotCompared(against=against, because="no_water")
    found = split(both.now, both.then, whole=(_ratio(now), _ratio(then)))
    share = float(then["seconds_seen"].sum()) * 1000 / (span.end_utc_ms - span.start_utc_ms)
    return replace(
        _compared(against, span, found, _ratios(both.now, both.then)),
        is_part_before=share < ENOUGH,
        share_before=share,
        not_told=both.not_told,
        judged_share=min(both.now.judged_share, both.then.judged_share),
        has_measured_temperature=both.has_temperature,
    )


def why_of_all(
    source: Source, weeks: Mapping[str, EnergyWeek], against: Against
) -> Compared | NotCompared | None:
    """Return why the energy per volume of all pumps changed, over those that both periods have whole.

    ``None`` for the baseline, which is another time for each pump, and where there is no pump.
    """
    if against == "baseline" or not weeks:
        return None
    week = _of(next(iter(weeks.values())))
    span = _other_week(source, week, against)
    same = are_compared(weeks, _weeks_in(source, weeks, span))
    now, then = ({name: _hours(source, name, each) for name in same} for each in (week, span))
    told = {name: both_factors(source, source.site.pump(name), now[name], then[name]) for name in same}
    factors_now = {name: both.now for name, both in told.items() if both.now is not None}
    factors_then = {name: both.then for name, both in told.items() if both.then is not None}
    if not factors_now or not factors_then:
        return NotCompared(against=against, because="no_whole_week")
    whole = (_ratio(pd.concat(now.values())), _ratio(pd.concat(then.values())))
    found = split_of_site(factors_now, factors_then, whole)
    return replace(
        _compared(against, span, found, {}),
        pumps=len(same),
        not_told=told_by_all(list(told.values())),
        judged_share=1.0,
        has_measured_temperature=any(both.has_temperature for both in told.values()),
    )


def _of(week: EnergyWeek) -> _Span:
    return _Span(week.start_utc_ms, week.end_utc_ms)


def _span(source: Source, pump: Pump, week: EnergyWeek, against: Against) -> _Span | None:
    if against != "baseline":
        return _other_week(source, _of(week), against)
    curve = curve_of(source.api_store, source.facts(pump))
    return None if curve is None else _Span(curve.first_hour_utc_ms, curve.last_hour_utc_ms + HOUR_MS)


def _other_week(source: Source, week: _Span, against: Against) -> _Span:
    zone = source.site.time_zone
    monday = local(week.start_utc_ms, zone).date()
    day = monday - timedelta(weeks=1) if against == "before" else same_week_last_year(monday)
    return _Span(*week_of(day, zone))


def _hours(source: Source, pump: str, span: _Span) -> pd.DataFrame:
    return source.api_store.hours(pump, span.start_utc_ms, span.end_utc_ms)


def _weeks_in(source: Source, names: Mapping[str, EnergyWeek], span: _Span) -> dict[str, EnergyWeek]:
    found: dict[str, EnergyWeek] = {}
    for name in names:
        weeks = pump_weeks(source, source.site.pump(name), _hours(source, name, span))
        found |= {name: weeks[0]} if weeks else {}
    return found


def _trouble(source: Source, pump: Pump, now: pd.DataFrame, then: pd.DataFrame) -> NoComparison | None:
    if now.empty or then.empty:
        return "no_readings"
    if min(_ratio(now), _ratio(then)) <= 0:
        return "no_water"
    weeks = (*pump_weeks(source, pump, now), *pump_weeks(source, pump, then))
    return None if all(week.is_possible for week in weeks) else "impossible"


def _ratio(hours: pd.DataFrame) -> float:
    """Return the energy per volume of some hours [kWh/m³], 0 where nothing was moved."""
    return ratio_of_sums(hours, 0, 2**62) or 0.0


def _ratios(now: Factors, then: Factors) -> dict[Part, float]:
    ratios = {
        Part.HEAD: now.mean_head_m / then.mean_head_m,
        Part.DENSITY: now.density_kg_m3 / then.density_kg_m3,
        Part.EFFICIENCY: now.efficiency / then.efficiency,
    }
    if now.over_own is None or then.over_own is None:
        return ratios
    pump = now.over_own / then.over_own
    return ratios | {Part.PUMP: pump, Part.PLACE: ratios[Part.EFFICIENCY] * pump}


def _compared(against: Against, span: _Span, found: Split, ratios: Mapping[Part, float]) -> Compared:
    """Return a comparison with its parts in the order of ``Part``; a rest that is rounding is none."""
    parts = tuple(
        WhyPart(part=part.value, kwh_per_m3=found.parts[part], ratio=ratios.get(part))
        for part in Part
        if part in found.parts and (part is not Part.REST or abs(found.parts[part]) > NOTHING_KWH_PER_M3)
    )
    return Compared(
        against=against,
        start_utc_ms=span.start_utc_ms,
        end_utc_ms=span.end_utc_ms,
        before_kwh_per_m3=found.before_kwh_per_m3,
        now_kwh_per_m3=found.now_kwh_per_m3,
        parts=parts,
    )
