"""Figures, made from views: plain dictionaries in plotly's JSON form, and the chart library's own file."""

from __future__ import annotations

import importlib.util
from pathlib import Path

from dashboards.figures.against_curve import against_curve_figure
from dashboards.figures.curves import head_figure, power_figure
from dashboards.figures.energy import energy_figure
from dashboards.figures.plot import Figure, Table
from dashboards.figures.theme import Scheme
from dashboards.figures.trend import trend_figure

__all__ = [
    "Figure",
    "Scheme",
    "Table",
    "against_curve_figure",
    "chart_library",
    "energy_figure",
    "head_figure",
    "power_figure",
    "trend_figure",
]


def chart_library() -> Path:
    """Return the path of plotly.min.js inside the installed Python package, without importing it.

    Importing plotly costs a large part of a second, and only this one file of it is needed here.
    """
    found = importlib.util.find_spec("plotly")
    if found is None or found.origin is None:
        raise ModuleNotFoundError("the plotly package is not installed")
    return Path(found.origin).parent / "package_data" / "plotly.min.js"
