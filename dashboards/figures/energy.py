"""Energy per volume week by week; a week that is not whole is drawn as such."""

from __future__ import annotations

import math

import numpy as np

from dashboards.display import amount, number, percent, unit_of
from dashboards.figures.marks import service_lines, service_notes
from dashboards.figures.plot import Figure, Json, Table, axis, frame, nothing
from dashboards.figures.theme import THEMES, Scheme, Theme
from dashboards.moments import axis_times, local
from dashboards.views import EnergyPicture, EnergyWeek, TimeArray

_ENOUGH = 0.9
"""A week with readings for less than this share [-] of it is hatched (our choice)."""
_MOST_NAMES = 6
"""As many names of weeks as stand side by side on a phone."""


def energy_figure(picture: EnergyPicture, scheme: Scheme = "light") -> Figure:
    """Return a bar a week: energy of all its hours over volume of all its hours."""
    theme = THEMES[scheme]
    weeks = [week for week in picture.weeks if _has_ratio(week)]
    if not weeks:
        return nothing("No week with both energy and flow yet.", theme)
    return Figure(
        data=(_bars(weeks, picture, theme),),
        layout=_layout(weeks, picture, theme),
        caption=_caption(weeks, picture),
        table=_table(picture),
    )


def _has_ratio(week: EnergyWeek) -> bool:
    return week.kwh_per_m3 is not None and math.isfinite(week.kwh_per_m3)


def _is_whole(week: EnergyWeek) -> bool:
    return week.has_ended and week.share_with_readings >= _ENOUGH


def _bars(weeks: list[EnergyWeek], picture: EnergyPicture, theme: Theme) -> Json:
    unit = unit_of("kwh_per_m3", picture.units)
    told = [
        [
            amount(week.energy_kwh, "energy_kwh", picture.units),
            amount(week.volume_m3, "volume_m3", picture.units),
            percent(week.share_with_readings),
        ]
        for week in weeks
    ]
    return {
        "type": "bar",
        "name": "energy per volume",
        "x": axis_times(_middles(weeks), picture.time_zone),
        "y": [float(f"{(week.kwh_per_m3 or 0.0) * unit.factor:.4g}") for week in weeks],
        "width": 5.2 * 86_400_000,
        "customdata": told,
        "hovertemplate": (
            f"%{{y}} {unit.label}<br>%{{customdata[0]}} for %{{customdata[1]}}<br>"
            "readings for %{customdata[2]} of the week<extra></extra>"
        ),
        "marker": {
            "color": theme.normal,
            "pattern": {
                "shape": ["" if _is_whole(week) else "/" for week in weeks],
                "bgcolor": theme.surface,
                "fgcolor": theme.normal,
                "size": 6,
            },
        },
        "showlegend": False,
    }


def _layout(weeks: list[EnergyWeek], picture: EnergyPicture, theme: Theme) -> Json:
    unit = unit_of("kwh_per_m3", picture.units)
    ends = weeks[0].start_utc_ms, weeks[-1].end_utc_ms
    return frame(
        theme,
        280,
        xaxis=axis("Week from", theme, type="date") | _week_names(weeks, picture.time_zone),
        yaxis=axis("", theme, rangemode="tozero") | {"title": {"text": unit.label, "standoff": 8}},
        shapes=service_lines(picture.services, picture.time_zone, theme),
        annotations=service_notes(picture.services, picture.time_zone, theme, ends),
    )


def _week_names(weeks: list[EnergyWeek], zone: str) -> Json:
    """Return the first day of each week, or of every so many, written below the middle of its bar."""
    named = weeks[:: -(-len(weeks) // _MOST_NAMES)]
    return {
        "tickvals": axis_times(_middles(named), zone),
        "ticktext": [f"{local(week.start_utc_ms, zone):%d %b}" for week in named],
    }


def _middles(weeks: list[EnergyWeek]) -> TimeArray:
    return np.array([(week.start_utc_ms + week.end_utc_ms) // 2 for week in weeks], dtype=np.int64)


def _caption(weeks: list[EnergyWeek], picture: EnergyPicture) -> str:
    hatched = "" if all(_is_whole(week) for week in weeks) else " Hatched: not a whole week of readings."
    last = amount(weeks[-1].kwh_per_m3, "kwh_per_m3", picture.units)
    return f"Energy per volume of {picture.pump} by week, {last} in the newest.{hatched}"


def _table(picture: EnergyPicture) -> Table:
    units = [unit_of(name, picture.units) for name in ("energy_kwh", "volume_m3", "kwh_per_m3")]
    columns = (
        "Week from",
        *(f"{name}, {unit.label}" for name, unit in zip(("Energy", "Volume", "Ratio"), units, strict=True)),
        "Readings",
    )
    rows = tuple(
        (
            f"{local(week.start_utc_ms, picture.time_zone):%Y-%m-%d}",
            *(
                number(None if value is None else value * unit.factor, 4)
                for value, unit in zip((week.energy_kwh, week.volume_m3, week.kwh_per_m3), units, strict=True)
            ),
            percent(week.share_with_readings),
        )
        for week in picture.weeks
    )
    return Table(columns=columns, rows=rows)
