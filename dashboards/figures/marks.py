"""What is marked on every picture with a time axis: findings as shades, service as dotted lines, dates."""

from __future__ import annotations

from typing import Final

import numpy as np

from dashboards.figures.plot import Json, as_text
from dashboards.figures.theme import Theme, priority_colour
from dashboards.moments import axis_times
from dashboards.views import CurvePicture, FindingSpan, ServiceMark, TrendPicture
from dashboards.wording import plain
from dashboards.wording.terms import SERVICES

DATE_WORDS: Final[list[Json]] = [
    {"dtickrange": [None, 86_399_999], "value": "%H:%M\n%d %b"},
    {"dtickrange": [86_400_000, "M1"], "value": "%d %b"},
    {"dtickrange": ["M1", None], "value": "%b %Y"},
]
"""How dates stand on an axis, by the distance of its ticks."""
_MOST_SHADES: Final = 40
_NEAR_END: Final = 0.25
"""Share of a picture's width [-]: half of the longest words on a narrow screen."""


def shades(picture: CurvePicture | TrendPicture, ends: tuple[int, int], theme: Theme) -> list[Json]:
    """Return a pale shade between ``ends`` [ms UTC] for each finding that is more than information.

    Only for the longest: of many short ones the lane above tells more than a hundred slivers.
    """
    found = []
    for span in sorted(picture.findings, key=_length_ms, reverse=True)[:_MOST_SHADES]:
        if span.priority == "information":
            continue
        first = max(span.first_utc_ms, ends[0])
        last = ends[1] if span.is_active else min(span.last_utc_ms, ends[1])
        if last < first:
            continue
        times = np.array([first, last], dtype=np.int64)
        first_text, last_text = axis_times(times, picture.time_zone)
        found.append(
            {
                "type": "rect",
                "layer": "below",
                "xref": "x",
                "yref": "paper",
                "x0": first_text,
                "x1": last_text,
                "y0": 0,
                "y1": 1,
                "fillcolor": priority_colour(theme, span.priority),
                "opacity": 0.07,
                "line": {"width": 0},
            }
        )
    return found


def _length_ms(span: FindingSpan) -> int:
    return span.last_utc_ms - span.first_utc_ms


def service_lines(services: tuple[ServiceMark, ...], zone: str, theme: Theme) -> list[Json]:
    """Return a dotted upright line for each thing that was done to the pump."""
    line = {"color": theme.service, "width": 1.5, "dash": "dot"}
    common: Json = {"type": "line", "xref": "x", "yref": "paper", "y0": 0, "y1": 1, "line": line}
    return [common | {"x0": time, "x1": time} for time in _times(services, zone)]


def service_notes(
    services: tuple[ServiceMark, ...], zone: str, theme: Theme, ends: tuple[int, int]
) -> list[Json]:
    """Return the words that stand on top of the service lines: one note for the works of a day.

    Near an end of the picture [ms UTC] the words stand on the line's inner side, or they would be cut off.
    """
    by_day: dict[str, list[tuple[str, ServiceMark]]] = {}
    for time, mark in zip(_times(services, zone), services, strict=True):
        by_day.setdefault(time[:10], []).append((time, mark))
    return [
        {
            "xref": "x",
            "yref": "paper",
            "x": marks[0][0],
            "xanchor": _anchor(marks[0][1].time_utc_ms, ends),
            "y": 1,
            "yanchor": "bottom",
            "text": as_text(f"✚ {', '.join(dict.fromkeys(_words(mark) for _, mark in marks))}"),
            "showarrow": False,
            "font": {"size": 12, "color": theme.service},
        }
        for marks in by_day.values()
    ]


def _anchor(time_utc_ms: int, ends: tuple[int, int]) -> str:
    share = (time_utc_ms - ends[0]) / max(ends[1] - ends[0], 1)
    return "left" if share < _NEAR_END else "right" if share > 1 - _NEAR_END else "center"


def _words(mark: ServiceMark) -> str:
    what = SERVICES.get(mark.kind, plain(mark.kind))
    return f"{what}, new baseline" if mark.new_baseline else what


def _times(services: tuple[ServiceMark, ...], zone: str) -> list[str]:
    return axis_times(np.array([mark.time_utc_ms for mark in services], dtype=np.int64), zone)
