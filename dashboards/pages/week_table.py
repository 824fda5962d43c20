"""The week table's headers, and how a week stands against the one before."""

from __future__ import annotations

from typing import Final

from dashboards.display import NOTHING
from dashboards.views import EnergyWeek, PageFrame, PumpWeek, WeekPage
from dashboards.wording.sentences import change_words
from dashboards.wording.terms import titled

NOT_THE_SAME: Final = "not the same pumps"
ENOUGH: Final = 0.9
"""Share of a week's time with readings [-] below which its sums are of a part only (our own choice)."""


def is_part(week: EnergyWeek) -> bool:
    """Return whether a week's sums are of a part of it only: it still runs, or readings are missing."""
    return not week.has_ended or week.share_with_readings < ENOUGH


def titles(frame: PageFrame) -> dict[str, str]:
    """Return the header of each column with its unit, in order; cost only where there is a price."""
    units = frame.units
    cost = {"cost": f"Cost, {frame.currency}"} if frame.currency else {}
    return {
        "energy": "Energy, kWh",
        "volume": titled("volume_m3", units),
        "energy_per_volume": titled("kwh_per_m3", units),
        "change": "Change on the week before",
        **cost,
        "running": "Running, h",
        "starts": "Starts",
        "mean_head": f"Mean {titled('head_m', units).lower()}",
        "wire_to_water": "Wire to water",
        "seen": "With readings",
    }


def change_of(row: PumpWeek) -> str:
    """Return a pump's change of energy per volume on the week before, a dash where there is none."""
    before = row.before.kwh_per_m3 if row.before else None
    return change_words(row.week.kwh_per_m3, before) or NOTHING


def change_of_all(page: WeekPage) -> str:
    """Return the change of all pumps' energy per volume, or that the two weeks are not of the same pumps.

    A pump known in one of the two weeks only would make a change that no pump has.
    """
    if page.site is None or page.site_before is None:
        return NOTHING
    if not page.same_pumps:
        return NOT_THE_SAME
    return change_words(page.site.kwh_per_m3, page.site_before.kwh_per_m3) or NOTHING
