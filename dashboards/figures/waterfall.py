"""A change of energy per volume as a waterfall: from then, part by part, to now."""

from __future__ import annotations

from dashboards.display import amount, bare, listed, signed_percent, unit_of
from dashboards.figures.plot import Figure, Json, Table, axis, frame, nothing
from dashboards.figures.theme import THEMES, Scheme, Theme
from dashboards.moments import day_words
from dashboards.why_views import Compared, NotCompared, WhyPicture
from dashboards.wording.why import PARTS, why_sentence

_ROW_HEIGHT = 38
_AROUND = 90
"""Heights [px] of a step and of what stands above and below the steps."""


def waterfall_figure(picture: WhyPicture, scheme: Scheme = "light") -> Figure:
    """Return the parts of a change between the two values that they lead from and to."""
    theme, found = THEMES[scheme], picture.compared
    if isinstance(found, NotCompared):
        return nothing(why_sentence(found, picture.units), theme)
    return Figure(
        data=(_steps(found, picture, theme),),
        layout=_layout(found, picture, theme),
        caption=_caption(found, picture),
        table=_table(found, picture),
    )


def _caption(found: Compared, picture: WhyPicture) -> str:
    """Return the steps in words: the reasons themselves stand above the picture."""
    steps = listed(f"{PARTS[part.part].lower()} {_share(found, part.kwh_per_m3)}" for part in found.parts)
    ends = (
        amount(value, "kwh_per_m3", picture.units)
        for value in (found.before_kwh_per_m3, found.now_kwh_per_m3)
    )
    return f"From {' to '.join(ends)}: {steps}, of the value then. The scale does not begin at zero."


def _share(found: Compared, value: float) -> str:
    return signed_percent(value / found.before_kwh_per_m3)


def _names(found: Compared, picture: WhyPicture) -> list[str]:
    then, now = (
        day_words(time, picture.time_zone, picture.now_utc_ms)
        for time in (found.start_utc_ms, picture.week_start_utc_ms)
    )
    return [f"From {then}", *(PARTS[part.part] for part in found.parts), f"From {now}"]


def _steps(found: Compared, picture: WhyPicture, theme: Theme) -> Json:
    factor = unit_of("kwh_per_m3", picture.units).factor
    values = [found.before_kwh_per_m3, *(part.kwh_per_m3 for part in found.parts), found.now_kwh_per_m3]
    shares = [_share(found, value) for value in values[1:-1]]
    return {
        "type": "waterfall",
        # Steps lie below one another: their names are then read on a phone, too.
        "orientation": "h",
        "y": _names(found, picture),
        "x": [float(f"{value * factor:.5g}") for value in values],
        "measure": ["absolute", *["relative"] * len(found.parts), "total"],
        "text": [_shown(values[0], picture), *shares, _shown(values[-1], picture)],
        "textposition": "outside",
        "cliponaxis": False,
        "hoverinfo": "none",
        # More and less differ by the place of the bar and its sign; colour is for what is not normal.
        "increasing": {"marker": {"color": theme.planned}},
        "decreasing": {"marker": {"color": theme.middle}},
        "totals": {"marker": {"color": theme.normal}},
        "connector": {"line": {"color": theme.edge, "width": 1}},
        "showlegend": False,
    }


def _shown(value: float, picture: WhyPicture) -> str:
    return bare(value, "kwh_per_m3", picture.units)


def _layout(found: Compared, picture: WhyPicture, theme: Theme) -> Json:
    label = unit_of("kwh_per_m3", picture.units).label
    height = _AROUND + _ROW_HEIGHT * (len(found.parts) + 2)
    steps = axis("", theme, type="category", autorange="reversed")
    return frame(theme, height, xaxis=axis(label, theme, range=_range(found, picture)), yaxis=steps)


def _range(found: Compared, picture: WhyPicture) -> list[float]:
    """Return the axis: about the steps, since a change of a percent can't be seen from zero on."""
    factor = unit_of("kwh_per_m3", picture.units).factor
    levels = [found.before_kwh_per_m3]
    for part in found.parts:
        levels.append(levels[-1] + part.kwh_per_m3)
    low, high = min(levels) * factor, max(levels) * factor
    room = max(high - low, 0.02 * high)
    return [max(0.0, low - room), high + 0.5 * room]


def _table(found: Compared, picture: WhyPicture) -> Table:
    label = unit_of("kwh_per_m3", picture.units).label
    first, *names, last = _names(found, picture)
    rows = [(first, _shown(found.before_kwh_per_m3, picture), "")]
    for name, part in zip(names, found.parts, strict=True):
        rows.append((name, _shown(part.kwh_per_m3, picture), _share(found, part.kwh_per_m3)))
    change = found.now_kwh_per_m3 - found.before_kwh_per_m3
    rows.append((last, _shown(found.now_kwh_per_m3, picture), _share(found, change)))
    return Table(columns=("Step", label, "Of the value then"), rows=tuple(rows))
