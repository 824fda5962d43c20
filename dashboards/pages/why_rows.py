"""The rows of the page that explains a week: its numbers with their formulas, and what is worth what."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from dashboards.display import BOUND, NOTHING, amount, number, percent, signed_percent, unit_of
from dashboards.views import UnitSystem
from dashboards.why_views import Compared, FindingWorth, NotCompared, OtherControlRow, WhyPage
from dashboards.wording.why import AGAINST, PARTS, WHAT_PARTS_ARE, counter_sentence, why_notes, why_sentence

CONTROLS: Final = {
    "constant_pressure": "Constant pressure",
    "lower_setpoint": "Constant pressure, 10 % lower",
    "proportional_pressure": "Proportional pressure",
    "least_seen": "Least head that was ever enough",
}
SHORT: Final = 0.02
"""Share of the volume short of head [-] above which a control would not have served (our own choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """A number of the week: its name, itself, and the anchor of its formula on the page of words."""

    name: str
    shown: str
    formula: str


def week_numbers(page: WhyPage) -> list[Number]:
    """Return the week's numbers, each with the anchor of its formula."""
    week, units = page.week, page.frame.units
    counters = week.counters
    money = number(week.cost, 5, 2)
    rows = [
        ("Energy", amount(week.energy_kwh, "energy_kwh", units), "energy"),
        ("Volume", amount(week.volume_m3, "volume_m3", units), "volume"),
        ("Energy per volume", amount(week.kwh_per_m3, "kwh_per_m3", units), "energy-per-volume"),
        ("Cost", f"{money}{BOUND}{page.frame.currency}" if week.cost is not None else NOTHING, "cost"),
        ("Running", f"{number(week.running_h, 4, 1)}{BOUND}h", "running"),
        ("Starts", str(week.starts), "starts"),
        ("Mean head", amount(week.mean_head_m, "head_m", units), "mean-head"),
        ("Wire to water", percent(week.efficiency), "wire-to-water"),
        ("With readings", percent(week.share_with_readings), "with-readings"),
    ]
    if counters is not None and counters.energy_kwh is not None:
        rows.append(("By the drive's counter", amount(counters.energy_kwh, "energy_kwh", units), "counter"))
    if counters is not None and counters.run_time_h is not None:
        hours = f"{number(counters.run_time_h, 4, 1)}{BOUND}h"
        rows.append(("Running by the drive's counter", hours, "counter"))
    return [Number(name=name, shown=shown, formula=formula) for name, shown, formula in rows]


def heading(found: Compared | NotCompared) -> str:
    """Return the heading of a comparison."""
    return AGAINST[found.against]


def sentence(found: Compared | NotCompared, units: UnitSystem) -> str:
    """Return the comparison in one sentence."""
    return why_sentence(found, units)


def notes(found: Compared | NotCompared, page: WhyPage) -> tuple[str, ...]:
    """Return what limits a comparison."""
    return why_notes(found, page.week)


def counted(page: WhyPage) -> str:
    """Return what the drive's own counter says."""
    return counter_sentence(page.week)


def part_rows(found: Compared, units: UnitSystem) -> list[tuple[str, str, str, str]]:
    """Return each part as its name, its amount, its share of the value then, and what it is."""
    rows = []
    for part in found.parts:
        share = signed_percent(part.kwh_per_m3 / found.before_kwh_per_m3)
        what = WHAT_PARTS_ARE[part.part]
        if part.part == "density" and not found.has_measured_temperature:
            what = "As stated in the site file: the temperature of the fluid was not measured in both."
        rows.append((PARTS[part.part], _added(part.kwh_per_m3, units), share, what))
    return rows


def _added(kwh_per_m3: float, units: UnitSystem) -> str:
    """Return a part of a change: with more places than the whole, of which it is a few hundredths."""
    unit = unit_of("kwh_per_m3", units)
    return f"{number(kwh_per_m3 * unit.factor, 3, unit.decimals + 2)}{BOUND}{unit.label}"


def is_compared(found: Compared | NotCompared) -> bool:
    """Return whether there is a comparison."""
    return isinstance(found, Compared)


def price(page: WhyPage, kwh: float, low_kwh: float | None = None, high_kwh: float | None = None) -> str:
    """Return an energy as money where there is a price, else as energy; with its interval, if it has one."""
    per = page.price_per_kwh
    unit = page.frame.currency or "of money" if per is not None else "kWh"
    factor = 1.0 if per is None else per
    shown = _sum(kwh * factor)
    if low_kwh is None or high_kwh is None:
        return f"{shown}{BOUND}{unit}"
    ends = sorted((low_kwh * factor, high_kwh * factor))
    return f"{shown}{BOUND}{unit} ({_sum(ends[0])} to {_sum(ends[1])})"


def _sum(value: float) -> str:
    return number(value, 3, 2)


def a_week(page: WhyPage, worth: FindingWorth, times: float = 1.0) -> str:
    """Return what a finding takes in such a week; less than before where power fell with the head."""
    ends = (worth.low_kwh * times, worth.high_kwh * times)
    if max(ends) <= 0:
        return f"{price(page, -worth.extra_kwh * times, -ends[0], -ends[1])} less"
    return price(page, worth.extra_kwh * times, *ends)


def a_year(page: WhyPage, worth: FindingWorth) -> str:
    """Return a finding's price a year at this week's use, or why there is none."""
    if worth.weeks_a_year is None:
        return "not told from a week that is not whole"
    return a_week(page, worth, worth.weeks_a_year)


def control_cells(page: WhyPage, row: OtherControlRow) -> tuple[str, str, str, str, str]:
    """Return a control's name, its head, its change of energy and money, and whether it would have served."""
    change = row.energy_kwh - row.as_it_was_kwh
    return (
        CONTROLS[row.mode],
        NOTHING if row.mode == "least_seen" else amount(row.setpoint_m, "head_m", page.frame.units),
        signed_percent(change / row.as_it_was_kwh),
        _signed(price(page, change), change),
        f"{percent(row.counted_share)} counted{_short(row)}",
    )


def _signed(shown: str, value: float) -> str:
    return f"+{shown}" if value > 0 else shown


def _short(row: OtherControlRow) -> str:
    if row.short_share <= SHORT:
        return ""
    return f"; would not have served: too little head for {percent(row.short_share)} of the water"
