"""The page of a week and the page that explains it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from api.answers.pages import page_frame
from api.answers.source import Source
from api.answers.upkeep import upkeep
from api.answers.weeks import site_week, weeks_by_pump, weeks_compared, with_counters
from api.answers.why import AGAINST, why, why_of_all
from api.answers.worth import Worth, yardsticks
from collector.site import Pump
from dashboards.pages.week_table import is_part
from dashboards.views import EnergyWeek, UnitSystem
from dashboards.week_views import PumpWeek, WeekPage
from dashboards.why_views import Against, WhyPage, WhyPicture


def week_page(
    source: Source, start_utc_ms: int | None = None, units: UnitSystem | None = None
) -> WeekPage | None:
    """Return the table of the week that begins then, of the newest whole week when none is named.

    ``None`` when no pump has such a week.
    """
    by_pump = weeks_by_pump(source)
    starts = sorted({week.start_utc_ms for weeks in by_pump.values() for week in weeks})
    start = newest_whole(by_pump.values()) if start_utc_ms is None else start_utc_ms
    if start not in starts:
        return None
    place = starts.index(start)
    rows = [_pump_week(source, name, weeks, start) for name, weeks in by_pump.items()]
    pumps = tuple(row for row in rows if row is not None)
    now, before = _weeks_of(by_pump, start), _weeks_of(by_pump, starts[place - 1]) if place else {}
    return WeekPage(
        frame=page_frame(source, units),
        start_utc_ms=start,
        end_utc_ms=pumps[0].week.end_utc_ms,
        pumps=pumps,
        site=site_week(source, now),
        left_out=tuple(name for name, week in now.items() if not week.is_possible),
        compared=weeks_compared(source, now, before),
        previous_start_utc_ms=starts[place - 1] if place else None,
        next_start_utc_ms=starts[place + 1] if place + 1 < len(starts) else None,
        upkeep=upkeep(source, source.site.pumps),
    )


def _weeks_of(
    by_pump: Mapping[str, tuple[EnergyWeek, ...]], start_utc_ms: int | None
) -> dict[str, EnergyWeek]:
    every = ((name, week) for name, weeks in by_pump.items() for week in weeks)
    return {name: week for name, week in every if week.start_utc_ms == start_utc_ms}


def newest_whole(by_pump: Iterable[tuple[EnergyWeek, ...]]) -> int | None:
    """Return the start of the newest week that some pump has whole, else of the newest that there is."""
    weeks = [week for weeks in by_pump for week in weeks]
    ended = [week for week in weeks if week.has_ended]
    whole = [week for week in ended if not is_part(week)]
    return max((week.start_utc_ms for week in whole or ended or weeks), default=None)


def _pump_week(
    source: Source, name: str, weeks: tuple[EnergyWeek, ...], start_utc_ms: int
) -> PumpWeek | None:
    for place, week in enumerate(weeks):
        if week.start_utc_ms == start_utc_ms:
            known = with_counters(source, source.site.pump(name), week)
            return PumpWeek(pump=name, week=known, before=weeks[place - 1] if place else None)
    return None


def why_page(
    source: Source, pump: Pump | None, start_utc_ms: int | None = None, units: UnitSystem | None = None
) -> WhyPage | None:
    """Return the page that explains the week that begins then, of one pump or of all.

    Without a start, the newest whole week. ``None`` when there are no readings in it.
    """
    by_pump = weeks_by_pump(source)
    asked = by_pump if pump is None else {pump.name: by_pump[pump.name]}
    start = newest_whole(asked.values()) if start_utc_ms is None else start_utc_ms
    weeks = _weeks_of(asked, start)
    if not weeks:
        return None
    return _why_all(source, weeks, units) if pump is None else _why_one(source, pump, weeks[pump.name], units)


def _why_one(source: Source, pump: Pump, week: EnergyWeek, units: UnitSystem | None) -> WhyPage:
    worth = Worth(source, pump, week)
    priced, unpriced = worth.findings()
    return WhyPage(
        frame=page_frame(source, units),
        pump=pump.name,
        week=with_counters(source, pump, week),
        comparisons=tuple(why(source, pump, week, against) for against in AGAINST),
        price_per_kwh=source.site.price_per_kwh,
        findings=priced,
        unpriced=unpriced,
        controls=worth.controls(),
        no_worth=worth.not_told,
        yardsticks=yardsticks(week),
        is_estimated=worth.is_estimated,
        pumps=(pump.name,),
    )


def _why_all(source: Source, weeks: Mapping[str, EnergyWeek], units: UnitSystem | None) -> WhyPage | None:
    whole = site_week(source, weeks)
    if whole is None:
        return None
    compared = (why_of_all(source, weeks, against) for against in AGAINST)
    return WhyPage(
        frame=page_frame(source, units),
        pump=None,
        week=whole,
        comparisons=tuple(each for each in compared if each is not None),
        price_per_kwh=source.site.price_per_kwh,
        yardsticks=yardsticks(whole),
        pumps=tuple(weeks),
    )


def why_picture(
    source: Source, pump: Pump | None, start_utc_ms: int, against: Against, units: UnitSystem | None = None
) -> WhyPicture | None:
    """Return one comparison to be drawn, ``None`` where there is none."""
    weeks = _weeks_of(weeks_by_pump(source), start_utc_ms)
    if pump is None:
        found = why_of_all(source, weeks, against)
    else:
        found = why(source, pump, weeks[pump.name], against) if pump.name in weeks else None
    if found is None:
        return None
    return WhyPicture(
        name=source.site.name if pump is None else pump.name,
        units=units or source.site.units,
        time_zone=source.site.time_zone,
        now_utc_ms=source.clock.now_utc_ms(),
        week_start_utc_ms=start_utc_ms,
        compared=found,
    )
