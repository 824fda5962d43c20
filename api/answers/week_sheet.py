"""Weeks as a sheet: one row a pump and week, units in the titles, numbers as numbers, gaps empty."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from collector.site import Site
from dashboards.counter_views import Counters
from dashboards.display import unit_of
from dashboards.moments import local
from dashboards.pages.week_table import is_part
from dashboards.views import EnergyWeek
from dashboards.wording.terms import efficiency_note, titled
from dashboards.wording.why import counter_notice

Cell = str | float | int | None
DIGITS: Final = 7
"""Of a number in a sheet: more than any reading has, so that sums made there come out right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Titles, and rows as wide; ``None`` is an empty cell."""

    titles: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def week_sheet(site: Site, weeks: Iterable[tuple[str, EnergyWeek]]) -> Sheet:
    """Return a sheet of weeks, each with its pump's name, in the site's units and local time."""
    columns = _titles(site)
    return Sheet(titles=columns, rows=tuple(_row(pump, week, site) for pump, week in weeks))


def _titles(site: Site) -> tuple[str, ...]:
    units = site.units
    cost = f"Cost, {site.currency}" if site.currency else "Cost"
    return (
        *("Pump", f"Week from ({site.time_zone})", f"Week up to ({site.time_zone})"),
        *("Energy, kWh", titled("volume_m3", units), titled("kwh_per_m3", units)),
        *([cost] if site.price_per_kwh is not None else []),
        *("Running, h", "Starts", f"Mean {titled('head_m', units).lower()}", "Wire to water, %"),
        *("Share with readings, %", "Part only", "Note"),
        *("Energy by the drive's counter, kWh", "Of that without readings, kWh"),
        *("Integrated over counter, %", "Running by the drive's counter, h"),
    )


def _row(pump: str, week: EnergyWeek, site: Site) -> tuple[Cell, ...]:
    units = site.units
    ends = (local(time, site.time_zone).isoformat() for time in (week.start_utc_ms, week.end_utc_ms))
    counters = week.counters or Counters()
    notes = [efficiency_note(week.efficiency), *map(counter_notice, counters.notices)]

    def shown(value: float | None, quantity: str) -> float | None:
        unit = unit_of(quantity, units)
        return None if value is None else _rounded(value * unit.factor + unit.offset)

    return (
        *(pump, *ends),
        *(_rounded(week.energy_kwh), shown(week.volume_m3, "volume_m3")),
        shown(week.kwh_per_m3, "kwh_per_m3"),
        *([_rounded(week.cost)] if site.price_per_kwh is not None else []),
        *(_rounded(week.running_h), week.starts, shown(week.mean_head_m, "head_m")),
        shown(week.efficiency, "efficiency"),
        *(_rounded(week.share_with_readings * 100), "yes" if is_part(week) else "no"),
        "; ".join(filter(None, notes)).replace("\N{NO-BREAK SPACE}", " ") or None,
        *_counted(counters),
    )


def _counted(counters: Counters) -> tuple[Cell, ...]:
    over = None if counters.difference is None else (1 + counters.difference) * 100
    across = None if counters.energy_kwh is None else counters.across_gaps_kwh
    return tuple(_rounded(value) for value in (counters.energy_kwh, across, over, counters.run_time_h))


def _rounded(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.{DIGITS}g}")
