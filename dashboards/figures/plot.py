"""What all figures share: the frame of a plot, plain JSON numbers, text that stays text."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from dashboards.figures.theme import Theme
from dashboards.views import FloatArray

MOST_POINTS: Final = 2_000
"""No trace holds more: beyond it a browser draws slower and a reader sees nothing new."""

Json = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A figure's data for those who can't see it: header texts and rows of texts, all one width."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A figure: traces and layout as plotly's JSON wants them, its caption in words, its data as a table."""

    data: tuple[Json, ...]
    layout: Json
    caption: str
    table: Table = field(default_factory=lambda: Table(columns=(), rows=()))

    def answer(self) -> Json:
        """Return the figure as the page's script expects it, ready for JSON."""
        table = {"columns": list(self.table.columns), "rows": [list(row) for row in self.table.rows]}
        return {"data": list(self.data), "layout": self.layout, "caption": self.caption, "table": table}


def as_text(words: str) -> str:
    """Return words so that the chart library shows them as they are: it reads a kind of HTML in names.

    >>> as_text("<b>P&1</b>")
    '&lt;b&gt;P&amp;1&lt;/b&gt;'
    """
    return html.escape(words, quote=False)


def numbers(values: FloatArray, digits: int = 5) -> list[float | None]:
    """Return values for JSON: rounded to significant digits, a gap (NaN) as ``None``.

    >>> numbers(np.array([1.234567, np.nan, 0.0]))
    [1.2346, None, 0.0]
    """
    return [float(f"{value:.{digits}g}") if np.isfinite(value) else None for value in values.tolist()]


def thinned(length: int, most: int = MOST_POINTS) -> slice:
    """Return a step over ``length`` points that leaves at most ``most`` of them.

    >>> thinned(5000), thinned(100)
    (slice(None, None, 3), slice(None, None, 1))
    """
    return slice(None, None, max(1, -(-length // most)))


def axis(title: str, theme: Theme, **more: Any) -> Json:  # noqa: ANN401 - plotly's own open set of settings
    """Return an axis in the house's look."""
    named = {"title": {"text": as_text(title), "standoff": 8}} if title else {}
    return {
        **named,
        "gridcolor": theme.line,
        "linecolor": theme.line,
        "zeroline": False,
        "automargin": True,
        "tickfont": {"size": 12},
        **more,
    }


def frame(theme: Theme, height: int, **more: Any) -> Json:  # noqa: ANN401 - as above
    """Return the layout that all figures start from."""
    return {
        "height": height,
        "autosize": True,
        "paper_bgcolor": theme.surface,
        "plot_bgcolor": theme.surface,
        "font": {"family": "system-ui, sans-serif", "size": 13, "color": theme.ink},
        "margin": {"l": 8, "r": 12, "t": 28, "b": 8},
        "hoverlabel": {"font": {"family": "system-ui, sans-serif"}},
        "legend": {"orientation": "h", "x": 0, "y": 1.0, "yanchor": "bottom", "font": {"size": 12}},
        "dragmode": "pan",
        **more,
    }


def nothing(words: str, theme: Theme, height: int = 220) -> Figure:
    """Return a figure that says in words why there is none."""
    note = {"text": as_text(words), "showarrow": False, "xref": "paper", "yref": "paper", "x": 0.5, "y": 0.5}
    hidden: Json = {"visible": False}
    layout = frame(theme, height, annotations=[note], xaxis=hidden, yaxis=hidden)
    return Figure(data=(), layout=layout, caption=words)


def rows_of(columns: Sequence[Sequence[str]], most: int = 60) -> tuple[tuple[str, ...], ...]:
    """Return columns of texts as rows, evenly thinned to what a person would read."""
    step = thinned(len(columns[0]) if columns else 0, most)
    return tuple(zip(*(column[step] for column in columns), strict=True))
