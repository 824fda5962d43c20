"""Head against the pump's own curve over time: the picture in which a loss is a step or a slope."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from dashboards.display import number, signed_percent
from dashboards.figures.marks import DATE_WORDS, service_lines, service_notes, shades
from dashboards.figures.plot import Figure, Json, Table, axis, frame, nothing, numbers, rows_of, thinned
from dashboards.figures.theme import THEMES, Scheme, Theme
from dashboards.moments import axis_times
from dashboards.views import BoolArray, CurveLine, CurvePicture, FloatArray, TimeArray

_HOUR_MS: Final = 3_600_000
_BY_DAY_FROM_MS: Final = 4 * 24 * _HOUR_MS
"""Over a longer range the middle line is one value a day, else one an hour."""
_SIDE_PCT: Final = 10.0
"""The axis reaches at least this far to each side [%], so that noise looks like noise."""
_HEIGHT: Final = 260


def expected_head_m(lines: tuple[CurveLine, ...], flow_m3h: FloatArray, speed_rpm: FloatArray) -> FloatArray:
    """Return the own curve's head [m] at each flow [m³/h] and speed [rpm], NaN beyond the line.

    From the line of the nearest speed by the affinity laws (flow goes with speed, head with its square),
    which the own curve's form ``a n² + b n Q + c Q²`` obeys exactly.
    """
    expected = np.full(flow_m3h.shape, np.nan)
    for line, mine in _by_line(lines, speed_rpm):
        ratio = line.speed_rpm / speed_rpm[mine]
        head = np.interp(flow_m3h[mine] * ratio, line.flow_m3h, line.head_m, left=np.nan, right=np.nan)
        expected[mine] = head / ratio**2
    return expected


def _by_line(lines: tuple[CurveLine, ...], speed_rpm: FloatArray) -> list[tuple[CurveLine, BoolArray]]:
    if not lines:
        return []
    speeds = np.array([line.speed_rpm for line in lines])
    nearest = np.abs(speeds[:, np.newaxis] - speed_rpm).argmin(axis=0)
    return [(line, (nearest == place) & (speed_rpm > 0)) for place, line in enumerate(lines)]


def _is_learned(lines: tuple[CurveLine, ...], flow_m3h: FloatArray, speed_rpm: FloatArray) -> BoolArray:
    learned = np.zeros(flow_m3h.shape, dtype=np.bool_)
    for line, mine in _by_line(lines, speed_rpm):
        at_line = flow_m3h[mine] * line.speed_rpm / speed_rpm[mine]
        learned[mine] = np.interp(at_line, line.flow_m3h, line.learned.astype(np.float64)) > 0.5
    return learned


def _has_lines(picture: CurvePicture) -> bool:
    return bool(picture.lines) or any(lines for _, lines in picture.earlier)


def _of_their_time(
    picture: CurvePicture, time_utc_ms: TimeArray
) -> Iterator[tuple[BoolArray, tuple[CurveLine, ...]]]:
    """Yield which readings each baseline judges: a loss that a repair has ended stays to be seen."""
    left = np.ones(time_utc_ms.shape, dtype=np.bool_)
    for until, lines in picture.earlier:
        yield left & (time_utc_ms < until), lines
        left &= time_utc_ms >= until
    yield left, picture.lines


def against_curve_figure(picture: CurvePicture, scheme: Scheme = "light") -> Figure:
    """Return head over the own curve's head, minus one, over time, with its middle by day or hour."""
    theme = THEMES[scheme]
    if picture.is_estimated:
        return nothing("The drive computes flow or head, so this comparison can't show wear.", theme)
    if not _has_lines(picture) or not picture.time_utc_ms.size:
        return nothing("No own curve to compare with yet, or no readings in this range.", theme)
    step = thinned(picture.time_utc_ms.size)
    time, flow, speed = picture.time_utc_ms[step], picture.flow_m3h[step], picture.speed_rpm[step]
    expected, learned = np.full(time.shape, np.nan), np.zeros(time.shape, dtype=np.bool_)
    for then, lines in _of_their_time(picture, time):
        expected[then] = expected_head_m(lines, flow[then], speed[then])
        learned[then] = _is_learned(lines, flow[then], speed[then])
    off_pct = 100 * (picture.head_m[step] / expected - 1)
    middle_time, middle_pct = _middle(time, np.where(learned, off_pct, np.nan))
    data = [
        _dots(time, np.where(learned, off_pct, np.nan), "readings", picture, theme),
        *_apart(time, np.where(learned, np.nan, off_pct), picture, theme),
        _line(middle_time, middle_pct, picture, theme),
    ]
    return Figure(
        data=tuple(data),
        layout=_layout(picture, (int(time[0]), int(time[-1])), off_pct, theme),
        caption=_caption(picture, middle_pct),
        table=_table(middle_time, middle_pct, picture.time_zone),
    )


def _is_by_day(time_utc_ms: TimeArray) -> bool:
    return bool(time_utc_ms[-1] - time_utc_ms[0] > _BY_DAY_FROM_MS)


def _middle(time_utc_ms: TimeArray, off_pct: FloatArray) -> tuple[TimeArray, FloatArray]:
    """Return the median of each day or hour that has any reading to judge, at its middle."""
    width = 24 * _HOUR_MS if _is_by_day(time_utc_ms) else _HOUR_MS
    bucket = time_utc_ms // width
    judged = np.isfinite(off_pct)
    seen = np.unique(bucket[judged])
    medians = [float(np.median(off_pct[judged & (bucket == each)])) for each in seen]
    return seen * width + width // 2, np.array(medians)


def _dots(time: TimeArray, off_pct: FloatArray, name: str, picture: CurvePicture, theme: Theme) -> Json:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": axis_times(time, picture.time_zone),
        "y": numbers(off_pct, 3),
        "marker": {"size": 4, "color": theme.old},
        "hovertemplate": "%{x}<br>%{y} % against its own curve<extra></extra>",
    }


def _apart(time: TimeArray, off_pct: FloatArray, picture: CurvePicture, theme: Theme) -> list[Json]:
    """Return the readings where the curve was never learned: shown hollow, and not judged."""
    if not np.isfinite(off_pct).any():
        return []
    dots = _dots(time, off_pct, "not learned here", picture, theme)
    return [dots | {"marker": {"size": 4, "symbol": "circle-open", "color": theme.old}}]


def _line(time: TimeArray, off_pct: FloatArray, picture: CurvePicture, theme: Theme) -> Json:
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": "middle",
        "x": axis_times(time, picture.time_zone),
        "y": numbers(off_pct, 3),
        "line": {"color": theme.ink, "width": 2},
        "marker": {"size": 5, "color": theme.ink},
        "hovertemplate": "%{x}<br>middle %{y} %<extra></extra>",
    }


def _layout(picture: CurvePicture, ends: tuple[int, int], off_pct: FloatArray, theme: Theme) -> Json:
    seen = np.abs(off_pct[np.isfinite(off_pct)])
    side = max(_SIDE_PCT, 1.1 * float(np.quantile(seen, 0.99)) if seen.size else 0.0)
    own: Json = {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": 0, "y1": 0}
    own |= {"line": {"color": theme.quiet, "width": 1.5, "dash": "dash"}}
    note: Json = {
        "xref": "paper",
        "x": 1,
        "y": 0,
        "xanchor": "left",
        "yanchor": "middle",
        "align": "left",
        "xshift": 4,
        "showarrow": False,
    }
    # Beside the plot, where no reading lies under the words.
    note |= {"text": "own<br>curve", "font": {"size": 11, "color": theme.quiet}}
    notes = service_notes(picture.services, picture.time_zone, theme, ends)
    limits = axis_times(np.array(ends, dtype=np.int64), picture.time_zone)
    return frame(
        theme,
        _HEIGHT,
        margin={"l": 8, "r": 48, "t": 28, "b": 8},
        xaxis=axis("", theme, type="date", range=limits, tickformatstops=DATE_WORDS),
        yaxis=axis("", theme, range=[-side, side])
        | {"title": {"text": "Head, % off its curve", "standoff": 6}},
        shapes=[
            own,
            *shades(picture, ends, theme),
            *service_lines(picture.services, picture.time_zone, theme),
        ],
        # Inside, since the legend has the line above; readings seldom reach the top.
        annotations=[note, *(each | {"yanchor": "top"} for each in notes)],
        hovermode="closest",
    )


def _caption(picture: CurvePicture, middle_pct: FloatArray) -> str:
    each = "Each hour's mean" if picture.is_hourly else "Each reading"
    what = f"{each} of {picture.pump} against the head that its own curve gives at the same flow and speed"
    if picture.earlier and int(picture.time_utc_ms[0]) < picture.earlier[-1][0]:
        what += "; before work that began a new baseline, against the curve of that time"
    if not middle_pct.size:
        return (
            f"{what}; none lies where the curve was learned at first. What is judged also takes in flows and "
            "speeds learned since."
        )
    newest, span = (
        signed_percent(float(middle_pct[-1]) / 100),
        "day" if _is_by_day(picture.time_utc_ms) else "hour",
    )
    return f"{what}; {newest} in the middle of its newest {span}."


def _table(time: TimeArray, off_pct: FloatArray, zone: str) -> Table:
    cells = (
        [each[:16] for each in axis_times(time, zone)],
        [number(each, 3, 1) for each in off_pct.tolist()],
    )
    return Table(columns=("Middle of", "Head against own curve, %"), rows=rows_of(cells))
