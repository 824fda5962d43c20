"""``owncurve energy``: energy, volume and their ratio by local weeks."""

from __future__ import annotations

import argparse
import csv
import io
import json
import re
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from api.commands import OK
from api.commands.site_source import add_site_argument, must_be_a_pump, opened_source

if TYPE_CHECKING:
    from api.answers.source import Source
    from collector.site import Pump, Site
    from dashboards.views import EnergyWeek

SUMMARY = "energy, volume and energy per volume of each pump, by weeks from local midnight"
EXAMPLE = "owncurve energy --site site.toml --json"

_NUMBER: Final = re.compile(r"-?[0-9]+\.[0-9]+")
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``energy``."""
    add_site_argument(parser)
    parser.add_argument("--pump", default=None, metavar="NAME", help="of this pump alone")
    parser.add_argument(
        "--json", action="store_true", help="print JSON in SI units instead of CSV in the site's units"
    )


def run(arguments: argparse.Namespace) -> int:
    """Print the weeks: CSV in the site's units for people, JSON in SI units for programs."""
    from api.answers.weeks import listed_weeks, pump_weeks

    with opened_source(arguments, to_read=True) as source:
        must_be_a_pump(source, arguments.pump)
        pumps = [pump for pump in source.site.pumps if arguments.pump in (None, pump.name)]
        weeks = [(pump.name, week) for pump in pumps for week in pump_weeks(source, pump)]
        if arguments.json:
            print(json.dumps(listed_weeks(source, arguments.pump), indent=2, allow_nan=False))
        else:
            print(_as_csv(weeks, source.site))
        if not weeks:
            print(f"owncurve: no week to show yet: {_why_none(source, pumps)}", file=sys.stderr)
    return OK


def _why_none(source: Source, pumps: Sequence[Pump]) -> str:
    if any(source.store.span(pump.name) for pump in pumps):
        return "the readings have not been analysed (run owncurve analyse)"
    return "there are no readings"


def _as_csv(weeks: Sequence[tuple[str, EnergyWeek]], site: Site) -> str:
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(_titles(site))
    rows.writerows([_cell(cell) for cell in _cells(pump, week, site)] for pump, week in weeks)
    return text.getvalue().rstrip("\n")


def _titles(site: Site) -> list[str]:
    from dashboards.wording.terms import titled

    units = site.units
    cost = f"Cost, {site.currency}" if site.currency else "Cost"
    return [
        *("Pump", f"Week from ({site.time_zone})", f"Week up to ({site.time_zone})"),
        *("Energy, kWh", titled("volume_m3", units), titled("kwh_per_m3", units)),
        *([cost] if site.price_per_kwh is not None else []),
        *("Running, h", "Starts", f"Mean {titled('head_m', units).lower()}", "Wire to water, %"),
        *("Share with readings, %", "Part only", "Note"),
    ]


def _cells(pump: str, week: EnergyWeek, site: Site) -> list[str]:
    from dashboards.display import bare, number
    from dashboards.moments import local
    from dashboards.pages.week_table import is_part
    from dashboards.wording.terms import efficiency_note

    units = site.units
    ends = (local(time, site.time_zone) for time in (week.start_utc_ms, week.end_utc_ms))
    money = [number(week.cost, 9, 2)] if site.price_per_kwh is not None else []
    shown = [
        bare(week.energy_kwh, "energy_kwh", units),
        bare(week.volume_m3, "volume_m3", units),
        bare(week.kwh_per_m3, "kwh_per_m3", units),
        *money,
        number(week.running_h, 4, 1),
        str(week.starts),
        bare(week.mean_head_m, "head_m", units),
        bare(week.efficiency, "efficiency", units),
        number(week.share_with_readings * 100, 3, 0),
    ]
    part = "yes" if is_part(week) else "no"
    note = efficiency_note(week.efficiency).replace("\N{NO-BREAK SPACE}", " ")
    return [pump, *(f"{end:%Y-%m-%d %H:%M}" for end in ends), *map(_plain_number, shown), part, note]


def _plain_number(shown: str) -> str:
    """Return a number as a spreadsheet reads it: no thousands mark, an ASCII minus, empty for none."""
    plain = shown.replace(",", "").replace("\N{MINUS SIGN}", "-")
    return "" if plain == "\N{EN DASH}" else plain


def _cell(value: str) -> str:
    """Return text for a cell: a name that looks like a formula is kept as text."""
    is_formula = value.startswith(_FORMULA_STARTS) and not _NUMBER.fullmatch(value)
    return f"'{value}" if is_formula else value
