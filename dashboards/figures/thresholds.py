"""Threshold against delay and false alarms: what is won by waiting for a larger loss, and what it costs."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Final

from dashboards.display import number, percent
from dashboards.figures.plot import Figure, Json, Table, axis, frame, nothing
from dashboards.figures.theme import THEMES, Scheme, Theme
from dashboards.threshold_views import ThresholdPage, ThresholdRow

_HEIGHT: Final = 520
_DASHES: Final = ("dot", "solid", "dash", "dashdot")
_SYMBOLS: Final = ("circle-open", "circle", "diamond", "square")
COLUMNS: Final = (
    "From, % off",
    "Evidence, standard errors",
    "Set",
    "Half within, days",
    "90 % within, days",
    "Raised",
    "False alarms a pump-year (95 %)",
)


def threshold_figure(page: ThresholdPage, scheme: Scheme = "light") -> Figure:
    """Return delays of this pump above, false alarms of the pumps worked out below, over the size raised."""
    theme = THEMES[scheme]
    if not page.is_ready:
        return nothing("Still being worked out.", theme)
    if not page.own:
        return nothing("Wear cannot be seen in this pump, so there is nothing to try.", theme)
    data = [*_delays(page, theme), *_rates(page, theme)]
    return Figure(data=tuple(data), layout=_layout(page, theme), caption=_caption(page), table=_table(page))


def by_evidence(rows: Sequence[ThresholdRow]) -> list[tuple[float, list[ThresholdRow]]]:
    """Return the rows of each strength of evidence, the weakest first."""
    grouped = groupby(sorted(rows, key=lambda row: row.evidence_sd), key=lambda row: row.evidence_sd)
    return [(evidence, sorted(rows, key=lambda row: row.notice)) for evidence, rows in grouped]


def _delays(page: ThresholdPage, theme: Theme) -> list[Json]:
    return [
        {
            "type": "scatter",
            "mode": "lines+markers",
            "name": f"evidence {evidence:g} standard errors",
            "legendgroup": str(evidence),
            "x": [row.notice * 100 for row in rows],
            "y": [row.median_days for row in rows],
            "error_y": {
                "type": "data",
                "symmetric": False,
                "array": [
                    0 if row.p90_days is None or row.median_days is None else row.p90_days - row.median_days
                    for row in rows
                ],
                "arrayminus": [0 for _ in rows],
                "color": theme.quiet,
                "thickness": 1,
            },
            "line": {"color": theme.ink, "width": 1.8, "dash": _DASHES[place % len(_DASHES)]},
            "marker": {"symbol": _SYMBOLS[place % len(_SYMBOLS)], "size": 9, "color": theme.ink},
            "hovertemplate": "from %{x} % off: half within %{y} days<extra></extra>",
        }
        for place, (evidence, rows) in enumerate(by_evidence(page.delays))
    ]


def _rates(page: ThresholdPage, theme: Theme) -> list[Json]:
    return [
        {
            "type": "scatter",
            "mode": "lines+markers",
            "showlegend": False,
            "legendgroup": str(evidence),
            "yaxis": "y2",
            "x": [row.notice * 100 for row in rows],
            "y": [row.rate for row in rows],
            "error_y": {
                "type": "data",
                "symmetric": False,
                "array": [row.rate_high - row.rate for row in rows],
                "arrayminus": [row.rate - row.rate_low for row in rows],
                "color": theme.quiet,
                "thickness": 1,
            },
            "line": {"color": theme.ink, "width": 1.8, "dash": _DASHES[place % len(_DASHES)]},
            "marker": {"symbol": _SYMBOLS[place % len(_SYMBOLS)], "size": 9, "color": theme.ink},
            "hovertemplate": "from %{x} % off: %{y:.2g} false alarms a pump-year<extra></extra>",
        }
        for place, (evidence, rows) in enumerate(by_evidence(page.site))
        if rows[0].pump_years > 0
    ]


def _layout(page: ThresholdPage, theme: Theme) -> Json:
    set_row = next((row for row in page.own if row.is_set), None)
    marks = [] if set_row is None else [_set_line(set_row, theme)]
    notes = [] if set_row is None else [_set_note(set_row, theme)]
    return frame(
        theme,
        _HEIGHT,
        xaxis=axis("Raised from, % off the own curve", theme, anchor="y2"),
        yaxis=axis("Days to raise it", theme, rangemode="tozero", domain=[0.55, 1.0], **_day_ticks(page)),
        yaxis2=axis("False alarms a pump-year", theme, rangemode="tozero", domain=[0.0, 0.42], nticks=6),
        shapes=marks,
        annotations=notes,
        hovermode="closest",
    )


def _day_ticks(page: ThresholdPage) -> Json:
    """Return whole days as ticks, since a loss is raised at the end of a day."""
    longest = max((row.p90_days or row.median_days or 0 for row in page.delays), default=0)
    return {"dtick": max(1, round(longest / 6))}


def _set_line(row: ThresholdRow, theme: Theme) -> Json:
    x = row.notice * 100
    return {
        "type": "line",
        "xref": "x",
        "yref": "paper",
        "x0": x,
        "x1": x,
        "y0": 0,
        "y1": 1,
        "line": {"color": theme.planned, "width": 1.5, "dash": "dot"},
    }


def _set_note(row: ThresholdRow, theme: Theme) -> Json:
    return {
        "x": row.notice * 100,
        "y": 0.485,
        "yref": "paper",
        "yanchor": "middle",
        "xanchor": "left",
        "xshift": 4,
        "text": f"as set, evidence {row.evidence_sd:g}",
        "showarrow": False,
        "font": {"size": 12, "color": theme.planned},
    }


def _caption(page: ThresholdPage) -> str:
    first = page.site[0] if page.site else page.own[0]
    whose = "the hours of the other pumps" if page.delays_are_of_site else f"{page.pump}'s own hours"
    pumps = f"{page.pumps} pump{'' if page.pumps == 1 else 's'}"
    return (
        f"Above, how many days pass until half (and, at the end of the line, 90 %) of the losses of "
        f"{percent(page.loss)} put into {whose} are raised. Below, false alarms of {pumps} "
        f"a pump-year, from {number(first.pump_years, 3)} quiet pump-years, with 95 % intervals."
    )


def _table(page: ThresholdPage) -> Table:
    return Table(columns=COLUMNS, rows=tuple(cells(page, row) for row in page.delays))


def site_row(page: ThresholdPage, row: ThresholdRow) -> ThresholdRow:
    """Return what the same limits do over the whole site; the pump's own where no other pump shares them."""
    same = (row.notice, row.evidence_sd)
    return next((each for each in page.site if (each.notice, each.evidence_sd) == same), row)


def cells(page: ThresholdPage, row: ThresholdRow) -> tuple[str, ...]:
    """Return a row of the table in words: delays of this pump, false alarms of the whole site."""
    of_site = site_row(page, row)
    return (
        f"{row.notice * 100:g}",
        f"{row.evidence_sd:g}",
        "as set" if row.is_set else "",
        number(row.median_days, 3, 0),
        number(row.p90_days, 3, 0),
        f"{row.found} of {row.trials}",
        f"{number(of_site.rate, 2, 2)} ({number(of_site.rate_low, 2, 2)} to "
        f"{number(of_site.rate_high, 2, 2)})",
    )
