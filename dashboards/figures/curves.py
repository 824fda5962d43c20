"""Head over flow and power over flow: the pump's own curve, where it was learned, and the readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from dashboards.display import DisplayUnit, amount, number, signed_percent, unit_for_range, unit_of
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
from dashboards.figures.theme import THEMES, Scheme, Theme
from dashboards.moments import axis_times, local
from dashboards.views import CurveLine, CurvePicture, DataSheetPicture, FloatArray
from dashboards.wording.terms import quantity_words

Upright = Literal["head_m", "power_w"]
_DASHES: Final = ("solid", "dash", "dot", "dashdot", "longdash")
_HEIGHT: Final = 460


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """One picture in the making: what stands upright, in which units, in which colours."""

    picture: CurvePicture
    upright: Upright
    flow: DisplayUnit
    unit: DisplayUnit
    theme: Theme

    def x(self, flow_m3h: FloatArray) -> list[float | None]:
        return numbers(self.flow.convert(flow_m3h))

    def y(self, values: FloatArray) -> list[float | None]:
        return numbers(self.unit.convert(values))

    @property
    def readings(self) -> FloatArray:
        return self.picture.head_m if self.upright == "head_m" else self.picture.power_w

    def on(self, line: CurveLine) -> FloatArray:
        return line.head_m if self.upright == "head_m" else line.power_w

    def half_band(self, line: CurveLine) -> FloatArray:
        return line.head_band_m if self.upright == "head_m" else line.power_band_w


def head_figure(picture: CurvePicture, scheme: Scheme = "light") -> Figure:
    """Return head over flow with the pump's own curve at several speeds."""
    return _figure(picture, "head_m", scheme)


def power_figure(picture: CurvePicture, scheme: Scheme = "light") -> Figure:
    """Return electrical input power over flow with the pump's own curve at several speeds."""
    return _figure(picture, "power_w", scheme)


def _figure(picture: CurvePicture, upright: Upright, scheme: Scheme) -> Figure:
    theme = THEMES[scheme]
    sheet = _sheet(picture, upright, theme)
    if not picture.lines and not picture.time_utc_ms.size and not _has_printed(sheet):
        return nothing("No readings in this range, and no own curve yet.", theme)
    data = [
        *_region(sheet),
        *_bands(sheet),
        *_readings(sheet),
        *(trace for place, line in enumerate(picture.lines) for trace in _line(sheet, line, place)),
        *_data_sheet(sheet),
        *_now(sheet),
    ]
    return Figure(data=tuple(data), layout=_layout(sheet), caption=_caption(sheet), table=_table(sheet))


def _sheet(picture: CurvePicture, upright: Upright, theme: Theme) -> _Sheet:
    values = picture.head_m if upright == "head_m" else picture.power_w
    largest = float(np.nanmax(values, initial=0.0)) if values.size else 0.0
    return _Sheet(
        picture=picture,
        upright=upright,
        flow=unit_of("flow_m3h", picture.units),
        unit=unit_for_range(upright, picture.units, largest),
        theme=theme,
    )


def _region(sheet: _Sheet) -> list[Json]:
    patches = sheet.picture.region
    if not patches:
        return []
    gap = np.array([np.nan])
    flow = np.concatenate([part for patch in patches for part in (patch.flow_m3h, gap)])
    is_head = sheet.upright == "head_m"
    upright = np.concatenate(
        [part for patch in patches for part in (patch.head_m if is_head else patch.power_w, gap)]
    )
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "name": "learned here",
            "x": sheet.x(flow),
            "y": sheet.y(upright),
            "fill": "toself",
            "fillcolor": sheet.theme.region,
            "line": {"width": 0},
            "hoverinfo": "skip",
            "showlegend": True,
        }
    ]


def _bands(sheet: _Sheet) -> list[Json]:
    """Return the band around each line, wherever the curve was learned; the first names all of them."""
    lines = [line for line in sheet.picture.lines if line.learned.any()]
    return [_band(sheet, line, is_named=place == 0) for place, line in enumerate(lines)]


def _band(sheet: _Sheet, line: CurveLine, *, is_named: bool) -> Json:
    flow, middle = line.flow_m3h[line.learned], sheet.on(line)[line.learned]
    half = sheet.half_band(line)[line.learned]
    return {
        "type": "scatter",
        "mode": "lines",
        "name": "band of healthy readings",
        "legendgroup": "band",
        "x": sheet.x(np.concatenate([flow, flow[::-1], flow[:1]])),
        "y": sheet.y(np.concatenate([middle + half, (middle - half)[::-1], (middle + half)[:1]])),
        "fill": "toself",
        "fillcolor": sheet.theme.band,
        # Readings are drawn over it: an edge shows where it ends.
        "line": {"width": 1, "color": sheet.theme.edge},
        "hoverinfo": "skip",
        "showlegend": is_named,
    }


def _line(sheet: _Sheet, line: CurveLine, place: int) -> list[Json]:
    """Return the curve at one speed: full where it was learned, faint where it is only carried on."""
    name = f"own curve at {amount(line.speed_rpm, 'speed_rpm', sheet.picture.units)}"
    learned = np.where(line.learned, sheet.on(line), np.nan)
    common: Json = {"type": "scatter", "mode": "lines", "x": sheet.x(line.flow_m3h)}
    hover = f"{name}<br>%{{x}} {sheet.flow.label}, %{{y}} {sheet.unit.label}<extra></extra>"
    carried = {
        **common,
        "y": sheet.y(sheet.on(line)),
        "line": {"color": sheet.theme.line, "width": 1.5},
        "hoverinfo": "skip",
        "showlegend": False,
    }
    own = {
        **common,
        "name": name,
        "y": sheet.y(learned),
        "line": {"color": sheet.theme.ink, "width": 2.2, "dash": _DASHES[place % len(_DASHES)]},
        "hovertemplate": hover,
        "showlegend": False,
    }
    return [carried, own]


def _readings(sheet: _Sheet) -> list[Json]:
    picture = sheet.picture
    step = thinned(picture.time_utc_ms.size)
    times = picture.time_utc_ms[step]
    if not times.size:
        return []
    shown = [f"{local(time, picture.time_zone):%d %b %H:%M}" for time in times.tolist()]
    speeds = [amount(speed, "speed_rpm", picture.units) for speed in picture.speed_rpm[step].tolist()]
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "name": "readings",
            "x": sheet.x(picture.flow_m3h[step]),
            "y": sheet.y(sheet.readings[step]),
            "customdata": [list(pair) for pair in zip(shown, speeds, strict=True)],
            "hovertemplate": (
                f"%{{customdata[0]}}, %{{customdata[1]}}<br>%{{x}} {sheet.flow.label}, "
                f"%{{y}} {sheet.unit.label}<extra></extra>"
            ),
            "opacity": 0.8,
            "marker": _time_ramp(sheet, times.astype(np.float64) / 1000),
        }
    ]


def _time_ramp(sheet: _Sheet, seconds: FloatArray) -> Json:
    """Return markers that stand out more the newer the reading, with the scale in words."""
    first, last = float(seconds[0]), float(seconds[-1])
    zone, theme = sheet.picture.time_zone, sheet.theme
    ends = [f"{local(round(end * 1000), zone):%d %b %H:%M}" for end in (first, last)]
    bar = {
        "orientation": "h",
        "thickness": 8,
        "len": 0.6,
        "x": 0.5,
        "y": -0.16,
        "yanchor": "top",
        "outlinewidth": 0,
        "tickvals": [first, last] if last > first else [first],
        "ticktext": ends if last > first else ends[:1],
        "title": {"text": "readings by time", "side": "top", "font": {"size": 12}},
    }
    return {
        "size": 5,
        "color": np.round(seconds).tolist(),
        "cmin": first,
        "cmax": max(last, first + 1),
        "colorscale": [[0, theme.old], [0.6, theme.middle], [1, theme.new]],
        "colorbar": bar,
    }


def _data_sheet(sheet: _Sheet) -> list[Json]:
    printed = sheet.picture.data_sheet
    if printed is None or not _has_printed(sheet):
        return []
    return [_printed_line(sheet, printed, speed) for speed in printed.speeds_rpm or (None,)]


def _has_printed(sheet: _Sheet) -> bool:
    """Return whether the data sheet says anything of what stands upright: many print no power."""
    printed = sheet.picture.data_sheet
    return printed is not None and (sheet.upright == "head_m" or printed.power_w.size > 0)


def _printed_line(sheet: _Sheet, printed: DataSheetPicture, speed_rpm: float | None) -> Json:
    """Return the maker's curve at a speed by the affinity laws."""
    ratio = speed_rpm / printed.rated_speed_rpm if speed_rpm and printed.rated_speed_rpm else 1.0
    is_head = sheet.upright == "head_m"
    values = printed.head_m * ratio**2 if is_head else printed.power_w * ratio**3
    at = amount(speed_rpm, "speed_rpm", sheet.picture.units) if speed_rpm else "rated speed"
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": f"data sheet at {at}{'' if sheet.picture.lines else ', not learned'}",
        "x": sheet.x(printed.flow_m3h * ratio),
        "y": sheet.y(values),
        # A trace that stands alone has no legend of itself, and this one must never pass for an own curve.
        "showlegend": True,
        "line": {"color": sheet.theme.quiet, "width": 1, "dash": "longdashdot"},
        "marker": {"symbol": "cross-thin-open", "size": 7, "color": sheet.theme.quiet},
    }


def _now(sheet: _Sheet) -> list[Json]:
    """Return the live dot; always there, even if empty, so that the page's script can move it."""
    now, theme = sheet.picture.now, sheet.theme
    words = _now_words(sheet)
    value = None if now is None else (now.head_m if sheet.upright == "head_m" else now.power_w)
    place = (np.array([]), np.array([])) if now is None else (np.array([now.flow_m3h]), np.array([value]))
    return [
        {
            "type": "scatter",
            "mode": "markers+text",
            "name": words,
            "meta": "now",
            "x": sheet.x(place[0]),
            "y": sheet.y(place[1]),
            "text": [words],
            "textposition": "top right",
            "textfont": {"size": 13, "color": theme.ink},
            "cliponaxis": False,
            "marker": {
                "symbol": "circle",
                "size": 13,
                "color": theme.surface,
                "line": {"color": theme.ink, "width": 4},
            },
            "hovertemplate": f"{words}<br>%{{x}} {sheet.flow.label}, %{{y}} {sheet.unit.label}"
            "<extra></extra>",
        }
    ]


def _now_words(sheet: _Sheet) -> str:
    """Return what the live dot is called: readings that ended long ago show no "now"."""
    now = sheet.picture.now
    if now is None or not now.is_old:
        return "now"
    then = local(now.time_utc_ms, sheet.picture.time_zone)
    return f"last, {then.day} {then:%B}"


def _layout(sheet: _Sheet) -> Json:
    upright = quantity_words(sheet.upright).name
    return frame(
        sheet.theme,
        _HEIGHT,
        xaxis=axis(f"Flow, {sheet.flow.label}", sheet.theme, rangemode="tozero"),
        yaxis=axis(f"{upright}, {sheet.unit.label}", sheet.theme, rangemode="tozero"),
        annotations=[_end_note(sheet, line) for line in sheet.picture.lines],
        hovermode="closest",
    )


def _end_note(sheet: _Sheet, line: CurveLine) -> Json:
    """Return the speed, written at the end of its line where the eye looks for it."""
    return {
        "x": float(sheet.flow.convert(line.flow_m3h[-1:])[0]),
        "y": float(sheet.unit.convert(sheet.on(line)[-1:])[0]),
        "text": as_text(amount(line.speed_rpm, "speed_rpm", sheet.picture.units)),
        "showarrow": False,
        "xanchor": "left",
        "yanchor": "middle",
        "xshift": 3,
        "font": {"size": 11, "color": sheet.theme.quiet},
    }


def _caption(sheet: _Sheet) -> str:
    picture = sheet.picture
    what = f"{quantity_words(sheet.upright).name} over flow of {picture.pump}: "
    lines = ", ".join(amount(line.speed_rpm, "speed_rpm", picture.units) for line in picture.lines)
    curve = (
        f"its own curve at {lines} with the band in which healthy readings lie"
        if lines
        else _without_a_curve(sheet)
    )
    words = f"{what}{curve}, and {picture.time_utc_ms.size} {_points(picture)}, newer ones stronger."
    if picture.is_estimated:
        words += " Flow or head is computed by the drive, so wear can't show in this picture."
    return f"{words}{_gap_words(sheet)}"


def _points(picture: CurvePicture) -> str:
    return "hours' means" if picture.is_hourly else "readings"


def _without_a_curve(sheet: _Sheet) -> str:
    if not _has_printed(sheet):
        return "no own curve yet"
    return "no own curve yet, so the data sheet's curve, which nothing is judged by"


def _gap_words(sheet: _Sheet) -> str:
    now, lines = sheet.picture.now, sheet.picture.lines
    if now is None or not lines:
        return ""
    nearest = min(lines, key=lambda line: abs(line.speed_rpm - now.speed_rpm))
    if abs(nearest.speed_rpm / max(now.speed_rpm, 1.0) - 1) > 0.01:
        return ""
    expected = float(np.interp(now.flow_m3h, nearest.flow_m3h, sheet.on(nearest)))
    value = now.head_m if sheet.upright == "head_m" else now.power_w
    when = _now_words(sheet).capitalize()
    return f" {when} {signed_percent(value / expected - 1)} against its own curve." if expected > 0 else ""


def _table(sheet: _Sheet) -> Table:
    picture = sheet.picture
    columns = (
        "Time",
        "Speed, rpm",
        f"Flow, {sheet.flow.label}",
        f"{quantity_words(sheet.upright).name}, {sheet.unit.label}",
    )
    cells = (
        [time[:16] for time in axis_times(picture.time_utc_ms, picture.time_zone)],
        [number(value, 4, 0) for value in picture.speed_rpm.tolist()],
        [number(value) for value in sheet.flow.convert(picture.flow_m3h).tolist()],
        [number(value, 4) for value in sheet.unit.convert(sheet.readings).tolist()],
    )
    return Table(columns=columns, rows=rows_of(cells))
