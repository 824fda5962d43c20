"""A week in lines for a person, and as plain values for a program."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from api.answers.findings import iso_utc
from api.answers.weeks import plain_week
from dashboards.display import amount, number, percent
from dashboards.moments import local
from dashboards.pages import why_rows
from dashboards.pages.week_table import is_part
from dashboards.why_views import Compared, NotCompared, WhyPage
from dashboards.wording.sentences import title
from dashboards.wording.terms import efficiency_note

ALL = "All pumps"


def week_lines(page: WhyPage) -> Iterator[str]:
    """Yield what a week was and why: a line that stands alone, then what belongs to it, set in."""
    yield f"{page.pump or ALL}: {_facts(page)}"
    for found in page.comparisons:
        yield f"  {why_rows.heading(found)}: {why_rows.sentence(found, page.frame.units)}"
        yield from (f"    {note}" for note in why_rows.notes(found, page))
    if counted := why_rows.counted(page):
        yield f"  {counted}"
    for worth in page.findings:
        year = (
            "" if worth.weeks_a_year is None else f", {why_rows.a_year(page, worth)} in a year of such weeks"
        )
        yield f"  {title(worth.card)}: {why_rows.a_week(page, worth)} in such a week{year}"
    for row in page.controls:
        name, head, change, money, note = why_rows.control_cells(page, row)
        yield f"  {name} ({head}): {change} energy, {money} ({note})"


def _facts(page: WhyPage) -> str:
    week, units = page.week, page.frame.units
    said = [
        f"{amount(week.energy_kwh, 'energy_kwh', units)} for {amount(week.volume_m3, 'volume_m3', units)}",
        amount(week.kwh_per_m3, "kwh_per_m3", units),
        *([] if week.cost is None else [f"{number(week.cost, 5, 2)} {page.frame.currency}".strip()]),
        f"running {number(week.running_h, 4, 1)} h",
        f"{week.starts} start{'' if week.starts == 1 else 's'}",
        *([] if week.mean_head_m is None else [f"mean head {amount(week.mean_head_m, 'head_m', units)}"]),
        f"wire to water {percent(week.efficiency)}",
        f"readings for {percent(week.share_with_readings)} of the week",
        *(["part only"] if is_part(week) else []),
    ]
    note = efficiency_note(week.efficiency)
    return ", ".join([*said, note] if note else said)


def heading(page: WhyPage) -> str:
    """Return which week it is, and how long."""
    zone, week = page.frame.time_zone, page.week
    first, last = (local(time, zone) for time in (week.start_utc_ms, week.end_utc_ms - 1))
    length_h = round((week.end_utc_ms - week.start_utc_ms) / 3_600_000)
    year, count, _ = first.date().isocalendar()
    return f"Week {year}-W{count:02d}, {first:%Y-%m-%d} to {last:%Y-%m-%d} ({zone}, {length_h} hours)"


def plain_why(page: WhyPage) -> dict[str, Any]:
    """Return a week and its explanation as programs read it, in SI units."""
    return {
        **plain_week(page.pump or ALL, page.week),
        "is_all_pumps": page.pump is None,
        "why": [_plain_comparison(found) for found in page.comparisons],
        "findings": [
            {
                "id": worth.card.identity,
                "kind": worth.card.kind,
                "extra_kwh_in_such_a_week": worth.extra_kwh,
                "extra_kwh_low": worth.low_kwh,
                "extra_kwh_high": worth.high_kwh,
                "judged_share": worth.judged_share,
                "weeks_a_year": worth.weeks_a_year,
            }
            for worth in page.findings
        ],
        "other_controls": [
            {
                "mode": row.mode,
                "setpoint_m": row.setpoint_m,
                "energy_kwh": row.energy_kwh,
                "as_it_was_kwh": row.as_it_was_kwh,
                "counted_share": row.counted_share,
                "short_share": row.short_share,
            }
            for row in page.controls
        ],
    }


def _plain_comparison(found: Compared | NotCompared) -> dict[str, Any]:
    if isinstance(found, NotCompared):
        return {"against": found.against, "because": found.because}
    return {
        "against": found.against,
        "from_utc": iso_utc(found.start_utc_ms),
        "up_to_utc": iso_utc(found.end_utc_ms),
        "before_kwh_per_m3": found.before_kwh_per_m3,
        "now_kwh_per_m3": found.now_kwh_per_m3,
        "parts_kwh_per_m3": {part.part: part.kwh_per_m3 for part in found.parts},
        "not_told": found.not_told,
        "judged_share": found.judged_share,
        "share_with_readings_before": found.share_before,
        "pumps": found.pumps,
    }
