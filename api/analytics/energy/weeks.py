"""Energy per volume by local weeks, as a ratio of sums: what the meter says over what was moved.

The mean of hourly ratios is another number and not an energy: EPANET's own report prints that one.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from api.analytics.energy.hydraulic import (
    CUBIC_METRES_A_US_GALLON,
    STANDARD_GRAVITY_M_S2,
    WATER_DENSITY_KG_M3,
)
from api.analytics.hours import JOULES_A_KWH

WEEK_DAYS: Final = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class EnergyWeek:
    """One week from Monday to Monday, local midnight; ``end_utc_ms`` is exclusive.

    ``energy_kwh`` and ``volume_m3`` are what was seen: nothing is filled in for time without readings, and
    ``share_with_readings`` [-] says how much of the week's 167, 168 or 169 hours was seen. ``kwh_per_m3``
    is over the time in which power and flow were both known; ``None`` when nothing was moved in it.
    ``mean_head_m`` is weighted by volume; ``efficiency`` [-] is wire to water, as read: above 1 no pump can
    be, see ``is_possible``.
    """

    start_utc_ms: int
    end_utc_ms: int
    energy_kwh: float
    volume_m3: float
    kwh_per_m3: float | None
    running_h: float
    starts: int
    share_with_readings: float
    mean_head_m: float | None
    efficiency: float | None

    @property
    def is_possible(self) -> bool:
        """Return whether the water took no more power than was drawn; else a unit is wrong somewhere.

        Flow or power of such a week belongs in no total with others.
        """
        return self.efficiency is None or self.efficiency <= 1

    @property
    def length_h(self) -> float:
        """Return the length of the week [h]: 167 or 169 when clocks change in it."""
        return (self.end_utc_ms - self.start_utc_ms) / 3_600_000

    @property
    def kwh_per_1000_us_gal(self) -> float | None:
        """Return the energy per 1000 US gallons [kWh/kgal]."""
        return None if self.kwh_per_m3 is None else self.kwh_per_m3 * 1000 * CUBIC_METRES_A_US_GALLON


def energy_weeks(
    hours: pd.DataFrame, time_zone: str, density_kg_m3: float = WATER_DENSITY_KG_M3
) -> list[EnergyWeek]:
    """Sum hour rows into local weeks, oldest first, with every week from the first row to the last.

    An hour belongs to the week in which it begins; where local midnight falls within a UTC hour (zones off
    by half an hour) a border is that much off.

    Raises
    ------
    zoneinfo.ZoneInfoNotFoundError
        When there is no such time zone.
    """
    if hours.empty:
        return []
    borders = _week_borders_utc_ms(int(hours.index[0]), int(hours.index[-1]), ZoneInfo(time_zone))
    cuts = np.searchsorted(hours.index.to_numpy(), borders)
    spans = zip(borders[:-1], borders[1:], cuts[:-1], cuts[1:], strict=True)
    return [
        _week(start, end, hours.iloc[first:stop].sum(), density_kg_m3) for start, end, first, stop in spans
    ]


def week_of(day: date, time_zone: str) -> tuple[int, int]:
    """Return the start and end [ms UTC, end exclusive] of the week that holds a local day.

    >>> start, end = week_of(date(2026, 10, 25), "Europe/Lisbon")
    >>> (end - start) / 3_600_000
    169.0
    """
    zone = ZoneInfo(time_zone)
    monday = day - timedelta(days=day.weekday())
    return _midnight_utc_ms(monday, zone), _midnight_utc_ms(monday + timedelta(days=WEEK_DAYS), zone)


def same_week_last_year(monday: date) -> date:
    """Return the Monday of the week of the same ISO 8601 number a year before.

    A 53rd week that the year before had not is held against the week 52 weeks before.

    >>> same_week_last_year(date(2026, 11, 9)), same_week_last_year(date(2026, 12, 28))
    (datetime.date(2025, 11, 10), datetime.date(2025, 12, 29))
    """
    year, number, _ = monday.isocalendar()
    try:
        return date.fromisocalendar(year - 1, number, 1)
    except ValueError:
        return monday - timedelta(weeks=52)


def _week_borders_utc_ms(first_utc_ms: int, last_utc_ms: int, zone: ZoneInfo) -> list[int]:
    first_day = datetime.fromtimestamp(first_utc_ms / 1000, zone).date()
    monday = first_day - timedelta(days=first_day.weekday())
    borders = [_midnight_utc_ms(monday, zone)]
    while borders[-1] <= last_utc_ms:
        monday += timedelta(days=WEEK_DAYS)
        borders.append(_midnight_utc_ms(monday, zone))
    return borders


def _midnight_utc_ms(day: date, zone: ZoneInfo) -> int:
    return int(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp() * 1000)


def _week(start_utc_ms: int, end_utc_ms: int, total: pd.Series[float], density_kg_m3: float) -> EnergyWeek:
    work_kwh = density_kg_m3 * STANDARD_GRAVITY_M_S2 * float(total["volume_head_m4"]) / JOULES_A_KWH
    return EnergyWeek(
        start_utc_ms=start_utc_ms,
        end_utc_ms=end_utc_ms,
        energy_kwh=float(total["energy_kwh"]),
        volume_m3=float(total["volume_m3"]),
        kwh_per_m3=_ratio(float(total["paired_energy_kwh"]), float(total["paired_volume_m3"])),
        running_h=float(total["seconds_running"]) / 3600,
        starts=round(float(total["starts"])),
        share_with_readings=float(total["seconds_seen"]) * 1000 / (end_utc_ms - start_utc_ms),
        mean_head_m=_ratio(float(total["volume_head_m4"]), float(total["lifted_volume_m3"])),
        efficiency=_ratio(work_kwh, float(total["lifted_energy_kwh"])),
    )


def _ratio(part: float, whole: float) -> float | None:
    return part / whole if whole > 0 else None
