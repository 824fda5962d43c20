"""One line over time: its use, its errors by kind, and the reply times of its units."""

from __future__ import annotations

from typing import Final

import numpy as np

from dashboards.figures.marks import DATE_WORDS
from dashboards.figures.plot import Figure, Json, Table, as_text, axis, frame, nothing, numbers, rows_of
from dashboards.figures.theme import THEMES, Scheme, Theme
from dashboards.line_views import ERROR_KINDS, ErrorKind, LinePicture, UnitReplies
from dashboards.moments import axis_times
from dashboards.views import BoolArray, FloatArray
from dashboards.wording.lines import ERRORS, reply_words, share

_HEIGHT: Final = 560
_LEGEND_ROW: Final = 20
MOST_UNITS: Final = 8
"""So many reply times can be told apart; of more units the slowest are drawn."""
_SYMBOLS: Final = ("circle", "square", "diamond", "cross", "triangle-up")
_PATTERNS: Final[dict[ErrorKind, str]] = {
    "no_reply": "", "damaged": "/", "refused": "x", "echo": ".", "no_link": "-",
}  # fmt: skip
_LONE_MARK: Final = 8
_LEAST_BUSY_PCT: Final = 10.0
"""A line that is busy for two per cent of the time must not look full."""
_UNIT_DASHES: Final = ("solid", "dash", "dot", "dashdot")


def line_figure(picture: LinePicture, scheme: Scheme = "light") -> Figure:
    """Return line use above, shares of errors in the middle, 95 % reply times below."""
    theme = THEMES[scheme]
    if not np.isfinite(picture.use).any():
        return nothing(f"Nothing was counted on {picture.name} in this range.", theme)
    times = axis_times(picture.times_utc_ms, picture.time_zone)
    data = [_use(picture, times, theme), *_errors(picture, times, theme), *_replies(picture, times, theme)]
    return Figure(
        data=tuple(data),
        layout=_layout(picture, theme),
        caption=_caption(picture),
        table=_table(picture, times),
    )


def kinds_seen(picture: LinePicture) -> list[ErrorKind]:
    """Return the kinds of errors that happened; no reply and damage always, to show that they did not."""
    return [
        kind
        for kind in ERROR_KINDS
        if kind in ("no_reply", "damaged") or bool(np.nan_to_num(picture.errors[kind]).any())
    ]


def drawn_units(picture: LinePicture) -> list[UnitReplies]:
    """Return the units whose reply times are drawn: all, or the slowest by their worst moment."""
    slowest = sorted(picture.replies, key=lambda each: -float(np.nanmax(each.p95_s, initial=0.0)))
    return sorted(slowest[:MOST_UNITS], key=lambda each: each.unit)


def _use(picture: LinePicture, times: list[str], theme: Theme) -> Json:
    return _bars(picture, times) | {
        "name": "line use",
        "showlegend": False,
        "y": numbers(picture.use * 100),
        "marker": {"color": theme.normal},
        "hovertemplate": "%{x}<br>busy %{y:.1f} % of the time<extra></extra>",
    }


def _bars(picture: LinePicture, times: list[str]) -> Json:
    return {"type": "bar", "x": times, "width": picture.step_ms * 0.9, "offset": 0}


def _errors(picture: LinePicture, times: list[str], theme: Theme) -> list[Json]:
    """Return errors as parts of one bar: a request has one outcome, so they add up and none hides another."""
    colours = {
        "no_reply": theme.ink,
        "damaged": theme.urgent,
        "refused": theme.soon,
        "echo": theme.service,
        "no_link": theme.planned,
    }
    above = np.zeros(len(times))
    bars = []
    for kind in kinds_seen(picture):
        share_pct = picture.errors[kind] * 100
        bars.append(
            _bars(picture, times)
            | {
                "name": ERRORS[kind].lower(),
                "y": numbers(share_pct),
                "base": numbers(above),
                "yaxis": "y2",
                "marker": {
                    "color": colours[kind],
                    "pattern": {
                        "shape": _PATTERNS[kind],
                        "fillmode": "overlay",
                        "fgcolor": theme.surface,
                        "size": 6,
                    },
                },
                "customdata": numbers(share_pct),
                "hovertemplate": f"%{{x}}<br>{ERRORS[kind].lower()} %{{customdata:.2f}} %<extra></extra>",
            }
        )
        above = above + np.nan_to_num(share_pct)
    return bars


def _replies(picture: LinePicture, times: list[str], theme: Theme) -> list[Json]:
    colours = (theme.ink, theme.planned)
    return [
        {
            "type": "scatter",
            "mode": "lines+markers",
            "name": as_text(unit_name(each)),
            "legend": "legend2",
            "x": times,
            "y": numbers(each.p95_s * 1000),
            "yaxis": "y3",
            "connectgaps": False,
            "cliponaxis": False,
            "line": {
                "color": colours[place // len(_UNIT_DASHES) % len(colours)],
                "width": 1.6,
                "dash": _UNIT_DASHES[place % len(_UNIT_DASHES)],
            },
            "marker": {
                "size": np.where(stands_alone(each.p95_s), _LONE_MARK, 0).tolist(),
                "symbol": _SYMBOLS[place % len(_SYMBOLS)],
            },
            "hovertemplate": f"%{{x}}<br>{as_text(unit_name(each))}: "
            "95 % within %{y:.0f} ms<extra></extra>",
        }
        for place, each in enumerate(drawn_units(picture))
    ]


def stands_alone(values: FloatArray) -> BoolArray:
    """Return which values have a gap on both sides: no line leads to them, so that only a mark shows them."""
    known: BoolArray = np.isfinite(values)
    has_neighbour = np.zeros_like(known)
    has_neighbour[1:] |= known[:-1]
    has_neighbour[:-1] |= known[1:]
    return known & ~has_neighbour


def unit_name(unit: UnitReplies) -> str:
    """Return what a unit is called in a legend."""
    return f"{unit.unit} {unit.pump}".strip()


def _layout(picture: LinePicture, theme: Theme) -> Json:
    busiest_pct = float(np.nanmax(picture.use)) * 100
    shares = np.sum([np.nan_to_num(each) for each in picture.errors.values()], axis=0)
    worst_pct = float(np.max(shares)) * 100
    small = {"orientation": "h", "x": 0, "yanchor": "bottom", "font": {"size": 12}}
    return frame(
        theme,
        # A narrow screen has a row for each unit in the legend below.
        _HEIGHT + _LEGEND_ROW * len(drawn_units(picture)),
        xaxis=axis("", theme, type="date", anchor="y3", tickformatstops=DATE_WORDS, nticks=7),
        yaxis=axis(
            "Busy, %", theme, domain=[0.73, 1.0], range=_from_zero(busiest_pct, _LEAST_BUSY_PCT), nticks=4
        ),
        yaxis2=axis("Errors, %", theme, domain=[0.36, 0.61], range=_from_zero(worst_pct, 1.0), nticks=4),
        yaxis3=axis("Reply, ms", theme, domain=[0.0, 0.29], rangemode="tozero", nticks=4),
        legend=small | {"y": 0.615},
        legend2=small | {"y": -0.1, "yanchor": "top"},
        barmode="overlay",
        hovermode="closest",
    )


def _from_zero(highest: float, least: float) -> list[float]:
    return [0, max(least, 1.1 * highest)]


def _caption(picture: LinePicture) -> str:
    step = picture.step_ms // 60_000
    each = {15: "a quarter of an hour", 60: "an hour"}.get(step, f"{step // 60} hours")
    more = len(picture.replies) - MOST_UNITS
    slowest = f"; the {MOST_UNITS} slowest of {len(picture.replies)} units" if more > 0 else ""
    return (
        "From above: share of time in which a request was under way, errors as a share of requests, and the "
        f"time within which 95 % of a unit's replies began{slowest}. Each step is {each}."
    )


def _table(picture: LinePicture, times: list[str]) -> Table:
    kinds, units = kinds_seen(picture), drawn_units(picture)
    kept = np.isfinite(picture.use)
    columns = [
        [time[:16] for time, is_kept in zip(times, kept.tolist(), strict=True) if is_kept],
        [share(each) for each in picture.use[kept].tolist()],
        *([share(_known(each)) for each in picture.errors[kind][kept].tolist()] for kind in kinds),
        *([reply_words(_known(each)) for each in unit.p95_s[kept].tolist()] for unit in units),
    ]
    titles = ("From", "Busy", *(ERRORS[kind] for kind in kinds), *(f"Reply {unit_name(u)}" for u in units))
    return Table(columns=titles, rows=rows_of(columns))


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None
