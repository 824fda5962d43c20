"""The week table's headers, and how a week stands against the one before."""

from __future__ import annotations

from typing import Final

from dashboards.display import NOTHING, number
from dashboards.views import EnergyWeek, PageFrame
from dashboards.week_views import PumpWeek, WeekPage
from dashboards.wording.sentences import change_words
from dashboards.wording.terms import titled

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


def counter_note(week: EnergyWeek) -> str:
    """Return what the drive's own energy counter says of a week, nothing where there is none."""
    known = week.counters
    if known is None or known.energy_kwh is None:
        return ""
    by = f"counter {number(known.energy_kwh, 5, 1)}"
    if any(notice.counter == "energy_kwh" for notice in known.notices):
        return f"{by}, did not just go on"
    return by


def change_of(row: PumpWeek) -> str:
    """Return a pump's change of energy per volume on the week before, a dash where there is none.

    Where one of the two weeks was seen in part only, that is said: its days may be other ones.
    """
    if row.before is None or not (row.week.is_possible and row.before.is_possible):
        return NOTHING
    change = change_words(row.week.kwh_per_m3, row.before.kwh_per_m3)
    if not change or not (is_part(row.week) or is_part(row.before)):
        return change or NOTHING
    return f"{change} ({_parts_compared(row.week, row.before)})"


def _parts_compared(week: EnergyWeek, before: EnergyWeek) -> str:
    if is_part(week) and is_part(before):
        return "parts of both weeks"
    return "a part of this week" if is_part(week) else "a part of the week before"


def change_of_all(page: WeekPage) -> str:
    """Return the change of energy per volume over the same pumps; of how many, where these are not all."""
    both = page.compared
    if both is None:
        return NOTHING
    change = change_words(both.kwh_per_m3, both.before_kwh_per_m3) or NOTHING
    return change if both.pumps == len(page.pumps) else f"{change} (of {both.pumps} with both weeks whole)"
