"""Quantities over time, one under the other, with findings as intervals and service marks."""

from __future__ import annotations

from typing import Final

import numpy as np

from dashboards.display import DisplayUnit, number, unit_for_range
from dashboards.figures.marks import DATE_WORDS, service_lines, service_notes, shades
from dashboards.figures.plot import (
    Figure,
    Json,
    Table,
    as_text,
    axis,
    frame,
    nothing,
    numbers,
    rows_of,
    thinned,
)
from dashboards.figures.theme import THEMES, Scheme, Theme, priority_colour
from dashboards.moments import axis_times
from dashboards.views import FindingSpan, TrendPicture, TrendSeries
from dashboards.wording import plain
from dashboards.wording.kinds import kind_words
from dashboards.wording.terms import PRIORITIES, PRIORITY_MARKS, quantity_words

_PANEL_PX: Final = 120
_LANE_PX: Final = 34
_GAP: Final = 0.035


def trend_figure(picture: TrendPicture, scheme: Scheme = "light") -> Figure:
    """Return the trend: a lane for each kind of finding on top, a panel for each quantity below."""
    theme = THEMES[scheme]
    if not any(np.isfinite(series.value).any() for series in picture.series):
        return nothing("No readings in this range.", theme)
    lanes = list(dict.fromkeys(span.kind for span in picture.findings))
    units = [_unit(series, picture) for series in picture.series]
    data: list[Json] = []
    for place, (series, unit) in enumerate(zip(picture.series, units, strict=True)):
        data += _panel(series, unit, place, picture, theme)
    data += _bars(picture, theme)
    return Figure(
        data=tuple(data),
        layout=_layout(picture, units, lanes, theme),
        caption=_caption(picture),
        table=_table(picture, units),
    )


def _unit(series: TrendSeries, picture: TrendPicture) -> DisplayUnit:
    largest = float(np.nanmax(np.abs(series.value), initial=0.0)) if series.value.size else 0.0
    return unit_for_range(series.quantity, picture.units, largest)


def _axis_name(place: int) -> str:
    return "y" if place == 0 else f"y{place + 1}"


def _lane_axis(picture: TrendPicture) -> int:
    return len(picture.series)


def _panel(
    series: TrendSeries, unit: DisplayUnit, place: int, picture: TrendPicture, theme: Theme
) -> list[Json]:
    step = thinned(series.time_utc_ms.size)
    times = axis_times(series.time_utc_ms[step], picture.time_zone)
    name = quantity_words(series.quantity).name
    common: Json = {"type": "scatter", "mode": "lines", "x": times, "yaxis": _axis_name(place)}
    common |= {"connectgaps": False, "showlegend": False}
    line = {
        **common,
        "name": name,
        "y": numbers(unit.convert(series.value[step])),
        "line": {"color": theme.ink, "width": 1.3},
        "hovertemplate": f"{name} %{{y}} {unit.label}<extra></extra>",
    }
    edge = {"color": theme.normal, "width": 0.6}
    bounds = [
        {**common, "y": numbers(unit.convert(bound[step])), "line": edge, "hoverinfo": "skip"}
        for bound in (series.low, series.high)
        if bound is not None
    ]
    return [*bounds, line]


def _bars(picture: TrendPicture, theme: Theme) -> list[Json]:
    """Return one trace for all findings of a kind and priority, so that a year of episodes stays light."""
    groups = dict.fromkeys((span.kind, span.priority) for span in picture.findings)
    return [
        _bar([span for span in picture.findings if (span.kind, span.priority) == group], picture, theme)
        for group in groups
    ]


def _bar(spans: list[FindingSpan], picture: TrendPicture, theme: Theme) -> Json:
    """Return findings as bars in their lane, a gap between two; an active one reaches the picture's end."""
    kind, priority = spans[0].kind, spans[0].priority
    title = as_text(kind_words(kind).title)
    word = as_text(PRIORITIES.get(priority, plain(priority)).lower())
    times = [time for span in spans for time in (*_ends(span, picture), None)]
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": f"{PRIORITY_MARKS.get(priority, '')} {title} ({word})",
        "x": times,
        "y": [None if time is None else title for time in times],
        "connectgaps": False,
        "yaxis": _axis_name(_lane_axis(picture)),
        "line": {"color": priority_colour(theme, priority), "width": 6},
        "marker": {"size": 6, "symbol": "square", "color": priority_colour(theme, priority)},
        "hovertemplate": f"{title} ({word})<br>%{{x}}<extra></extra>",
        "showlegend": False,
        "meta": f"finding {kind}",
    }


def _ends(span: FindingSpan, picture: TrendPicture) -> list[str]:
    first = max(span.first_utc_ms, picture.start_utc_ms)
    last = picture.end_utc_ms if span.is_active else min(span.last_utc_ms, picture.end_utc_ms)
    return axis_times(np.array([first, max(last, first)], dtype=np.int64), picture.time_zone)


def _layout(picture: TrendPicture, units: list[DisplayUnit], lanes: list[str], theme: Theme) -> Json:
    panels_px = _PANEL_PX * len(picture.series)
    lanes_px = _LANE_PX * len(lanes) + (14 if lanes else 0)
    height = panels_px + lanes_px + 44
    top = panels_px / (panels_px + lanes_px)
    axes: Json = {}
    for place, (series, unit) in enumerate(zip(picture.series, units, strict=True)):
        high = top - place * top / len(units)
        domain = [max(0.0, high - top / len(units) + _GAP), high - (_GAP / 2 if lanes or place else 0)]
        title = f"{quantity_words(series.quantity).name}<br>{unit.label}"
        axes[f"yaxis{'' if place == 0 else place + 1}"] = axis(
            "", theme, domain=domain, nticks=4, rangemode="tozero"
        ) | {"title": {"text": title, "font": {"size": 12}, "standoff": 6}}
    if lanes:
        axes[f"yaxis{len(units) + 1}"] = _lane_scale(lanes, top, theme)
    bottom = _axis_name(len(units) - 1)
    return frame(
        theme,
        height,
        xaxis=_time_axis(picture, theme, bottom),
        shapes=[
            *shades(picture, (picture.start_utc_ms, picture.end_utc_ms), theme),
            *service_lines(picture.services, picture.time_zone, theme),
        ],
        annotations=[
            *service_notes(
                picture.services, picture.time_zone, theme, (picture.start_utc_ms, picture.end_utc_ms)
            ),
            *_lane_names(lanes, _axis_name(_lane_axis(picture)), theme),
        ],
        hovermode="x",
        **axes,
    )


def _lane_scale(lanes: list[str], top: float, theme: Theme) -> Json:
    titles = [as_text(kind_words(kind).title) for kind in lanes]
    return axis("", theme, domain=[top, 1], type="category", showgrid=False) | {
        "categoryorder": "array",
        "categoryarray": titles[::-1],
        "range": [-0.5, len(titles) - 0.1],
        "showticklabels": False,
        "automargin": False,
        "fixedrange": True,
    }


def _lane_names(lanes: list[str], axis_name: str, theme: Theme) -> list[Json]:
    """Return each lane's name above its bars; tick labels inside a plot would hide the dates below them."""
    return [
        {
            "xref": "paper",
            "yref": axis_name,
            "x": 0,
            "xanchor": "left",
            "y": as_text(kind_words(kind).title),
            "yshift": 11,
            "text": as_text(kind_words(kind).title),
            "showarrow": False,
            "font": {"size": 12, "color": theme.ink},
        }
        for kind in lanes
    ]


def _time_axis(picture: TrendPicture, theme: Theme, bottom: str) -> Json:
    ends = np.array([picture.start_utc_ms, picture.end_utc_ms], dtype=np.int64)
    return axis("", theme, type="date", anchor=bottom, range=axis_times(ends, picture.time_zone)) | {
        "tickformatstops": DATE_WORDS
    }


def _caption(picture: TrendPicture) -> str:
    names = ", ".join(quantity_words(series.quantity).name.lower() for series in picture.series)
    count = len(picture.findings)
    marked = f"{count} finding{'s' if count != 1 else ''} marked" if count else "no finding in this range"
    return f"{names.capitalize()} of {picture.pump} over time, {marked}. Gaps are times without readings."


def _table(picture: TrendPicture, units: list[DisplayUnit]) -> Table:
    first = picture.series[0]
    columns = ["Time"]
    cells = [[time[:16] for time in axis_times(first.time_utc_ms, picture.time_zone)]]
    for series, unit in zip(picture.series, units, strict=True):
        if series.time_utc_ms.size == first.time_utc_ms.size:
            columns.append(f"{quantity_words(series.quantity).name}, {unit.label}")
            cells.append([number(value, 4) for value in unit.convert(series.value).tolist()])
    return Table(columns=tuple(columns), rows=rows_of(cells))
