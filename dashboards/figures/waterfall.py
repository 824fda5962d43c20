"""A change of energy per volume as a waterfall: from then, part by part, to now."""

from __future__ import annotations

from dashboards.display import bare, signed_percent, unit_of
from dashboards.figures.plot import Figure, Json, Table, axis, frame, nothing
from dashboards.figures.theme import THEMES, Scheme, Theme
from dashboards.moments import day_words
from dashboards.why_views import Compared, NotCompared, WhyPicture
from dashboards.wording.why import PARTS, why_sentence

HEIGHT = 320
_BREAK_AT = 12
"""Names longer than this are broken, so that seven stand side by side on a phone."""


def waterfall_figure(picture: WhyPicture, scheme: Scheme = "light") -> Figure:
    """Return the parts of a change between the two values that they lead from and to."""
    theme, found = THEMES[scheme], picture.compared
    if isinstance(found, NotCompared):
        return nothing(why_sentence(found, picture.units), theme)
    return Figure(
        data=(_steps(found, picture, theme),),
        layout=_layout(found, picture, theme),
        caption=why_sentence(found, picture.units),
        table=_table(found, picture),
    )


def _names(found: Compared, picture: WhyPicture) -> list[str]:
    then, now = (
        day_words(time, picture.time_zone, picture.now_utc_ms)
        for time in (found.start_utc_ms, picture.week_start_utc_ms)
    )
    return [f"From {then}", *(PARTS[part.part] for part in found.parts), f"From {now}"]


def _steps(found: Compared, picture: WhyPicture, theme: Theme) -> Json:
    factor = unit_of("kwh_per_m3", picture.units).factor
    values = [found.before_kwh_per_m3, *(part.kwh_per_m3 for part in found.parts), found.now_kwh_per_m3]
    shares = [signed_percent(value / found.before_kwh_per_m3) for value in values[1:-1]]
    return {
        "type": "waterfall",
        "x": [_broken(name) for name in _names(found, picture)],
        "y": [float(f"{value * factor:.5g}") for value in values],
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


def _broken(name: str) -> str:
    """Return a name in lines.

    >>> _broken("Density of the fluid"), _broken("Head")
    ('Density of<br>the fluid', 'Head')
    """
    lines = [""]
    for word in name.split(" "):
        fits = len(f"{lines[-1]} {word}") <= _BREAK_AT
        if fits or not lines[-1]:
            lines[-1] = f"{lines[-1]} {word}".strip()
        else:
            lines.append(word)
    return "<br>".join(lines)


def _layout(found: Compared, picture: WhyPicture, theme: Theme) -> Json:
    label = unit_of("kwh_per_m3", picture.units).label
    values = axis("", theme, range=_range(found, picture)) | {"title": {"text": label, "standoff": 8}}
    return frame(theme, HEIGHT, xaxis=axis("", theme, type="category", tickangle=0), yaxis=values)


def _range(found: Compared, picture: WhyPicture) -> list[float]:
    """Return the axis: about the steps, since a change of a percent can't be seen from zero on."""
    factor = unit_of("kwh_per_m3", picture.units).factor
    levels = [found.before_kwh_per_m3]
    for part in found.parts:
        levels.append(levels[-1] + part.kwh_per_m3)
    low, high = min(levels) * factor, max(levels) * factor
    room = max(high - low, 0.02 * high)
    return [max(0.0, low - room), high + 0.3 * room]


def _table(found: Compared, picture: WhyPicture) -> Table:
    label = unit_of("kwh_per_m3", picture.units).label
    first, *names, last = _names(found, picture)
    rows = [(first, _shown(found.before_kwh_per_m3, picture), "")]
    for name, part in zip(names, found.parts, strict=True):
        share = signed_percent(part.kwh_per_m3 / found.before_kwh_per_m3)
        rows.append((name, _shown(part.kwh_per_m3, picture), share))
    share = signed_percent(found.now_kwh_per_m3 / found.before_kwh_per_m3 - 1)
    rows.append((last, _shown(found.now_kwh_per_m3, picture), share))
    return Table(columns=("Step", label, "Of the value then"), rows=tuple(rows))
