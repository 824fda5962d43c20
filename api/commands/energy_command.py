"""``owncurve energy``: energy, volume and their ratio by local weeks."""

from __future__ import annotations

import argparse
import csv
import io
import json
from typing import Any, Final

from api.commands import OK
from api.commands.site_source import add_site_argument, must_be_a_pump, opened_source

SUMMARY = "energy, volume and energy per volume of each pump, by weeks from local midnight"
EXAMPLE = "owncurve energy --site site.toml --json"

_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``energy``."""
    add_site_argument(parser)
    parser.add_argument("--pump", default=None, metavar="NAME", help="of this pump alone")
    parser.add_argument("--json", action="store_true", help="print JSON instead of CSV")


def run(arguments: argparse.Namespace) -> int:
    """Print the weeks as CSV or JSON; names carry their units."""
    from api.answers.weeks import listed_weeks

    with opened_source(arguments) as source:
        must_be_a_pump(source, arguments.pump)
        weeks = listed_weeks(source, arguments.pump)
    print(json.dumps(weeks, indent=2, allow_nan=False) if arguments.json else _as_csv(weeks))
    return OK


def _as_csv(weeks: list[dict[str, Any]]) -> str:
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(weeks[0] if weeks else ["pump"])
    rows.writerows([_cell(value) for value in week.values()] for week in weeks)
    return text.getvalue().rstrip("\n")


def _cell(value: Any) -> Any:  # noqa: ANN401 - whatever a week holds
    """Return a value for a cell: numbers short, and a name that looks like a formula kept as text."""
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, str) and value.startswith(_FORMULA_STARTS):
        return f"'{value}"
    return value
