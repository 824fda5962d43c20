"""``owncurve energy``: energy, volume and their ratio by local weeks; ``owncurve week`` explains one."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from api.commands import OK
from api.commands.site_source import add_site_argument, must_be_a_pump, opened_source

if TYPE_CHECKING:
    from api.answers.source import Source
    from collector.site import Pump

SUMMARY = "energy, volume and energy per volume of each pump, by weeks from local midnight"
EXAMPLE = "owncurve energy --site site.toml --json"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``energy``."""
    add_site_argument(parser)
    parser.add_argument("--pump", default=None, metavar="NAME", help="of this pump alone")
    parser.add_argument(
        "--json", action="store_true", help="print JSON in SI units instead of CSV in the site's units"
    )


def run(arguments: argparse.Namespace) -> int:
    """Print the weeks: CSV in the site's units for people, JSON in SI units for programs."""
    from api.answers.week_sheet import week_sheet
    from api.answers.weeks import listed_weeks
    from api.commands.sheet_files import as_csv
    from api.commands.week_command import weeks_of

    with opened_source(arguments, to_read=True) as source:
        must_be_a_pump(source, arguments.pump)
        pumps = [pump for pump in source.site.pumps if arguments.pump in (None, pump.name)]
        weeks = weeks_of(source, pumps)
        if arguments.json:
            print(json.dumps(listed_weeks(source, arguments.pump), indent=2, allow_nan=False))
        else:
            print(as_csv(week_sheet(source.site, weeks)), end="")
        if not weeks:
            print(f"owncurve: no week to show yet: {_why_none(source, pumps)}", file=sys.stderr)
    return OK


def _why_none(source: Source, pumps: Sequence[Pump]) -> str:
    if any(source.store.span(pump.name) for pump in pumps):
        return "the readings have not been analysed (run owncurve analyse)"
    return "there are no readings"
