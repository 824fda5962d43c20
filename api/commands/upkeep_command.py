"""``owncurve upkeep``: which work is due by run hours or by the calendar."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Final

from api.commands import OK
from api.commands.site_source import add_site_argument, must_be_a_pump, opened_source

if TYPE_CHECKING:
    from api.answers.source import Source
    from dashboards.upkeep_views import UpkeepRow

SUMMARY = "list the work that is due by run hours or days; nothing is due until the site file says how often"
EXAMPLE = "owncurve upkeep --site site.toml --pump P01"

SUGGESTED: Final = """\
# Upkeep to begin with. The intervals are common practice and no more: the makers' manuals come first. Take
# out what your pumps do not have (many small ones are greased for life), take away the marks before the
# lines that you keep, and put them into the site file. A task without pumps = ["P01", "P02"] is for all.

# [[upkeep]]
# kind = "greasing"
# every_run_h = 4000
# every_days = 365
# bearings = [{ place = "drive end", outside_mm = 80, width_mm = 18 }]

# [[upkeep]]
# kind = "coupling_check"
# every_run_h = 4000
# every_days = 180

# [[upkeep]]
# kind = "seal_inspection"
# every_days = 30

# [[upkeep]]
# kind = "alignment"
# every_run_h = 8000
# every_days = 365

# [[upkeep]]
# kind = "strainer"
# every_days = 180

# [[upkeep]]
# kind = "filter"
# every_days = 90

# [[upkeep]]
# kind = "turning_by_hand"
# standing_days = 14

# [[upkeep]]
# kind = "other"
# name = "Listen at the bearings"
# every_days = 30
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``upkeep``."""
    add_site_argument(parser, clock=True)
    parser.add_argument("--pump", default=None, metavar="NAME", help="of this pump alone")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.add_argument(
        "--suggest", action="store_true", help="print tasks to begin with, to be put into the site file"
    )


def run(arguments: argparse.Namespace) -> int:
    """Print what is due, first what is due now; or tasks to begin with."""
    if arguments.suggest:
        print(SUGGESTED, end="")
        return OK
    with opened_source(arguments, to_read=True) as source:
        must_be_a_pump(source, arguments.pump)
        rows = _rows(source, arguments.pump)
        print(_as_json(rows) if arguments.json else _told(source, rows))
    return OK


def _rows(source: Source, name: str | None) -> tuple[UpkeepRow, ...]:
    from api.answers.upkeep import upkeep

    return upkeep(source, [pump for pump in source.site.pumps if name in (None, pump.name)])


def _as_json(rows: tuple[UpkeepRow, ...]) -> str:
    from api.answers.upkeep import plain_row

    return json.dumps([plain_row(row) for row in rows], indent=2, allow_nan=False)


def _told(source: Source, rows: tuple[UpkeepRow, ...]) -> str:
    from dashboards.wording.upkeep import GREASE_RULE, NO_TASKS

    if not rows:
        return NO_TASKS if not source.site.upkeep else "no task of the site file is for this pump"
    rule = [GREASE_RULE] if any(row.grease for row in rows) else []
    return "\n".join([*(_line(source, row) for row in rows), *rule]).replace("\N{NO-BREAK SPACE}", " ")


def _line(source: Source, row: UpkeepRow) -> str:
    from dashboards.wording.upkeep import STATES, task_title, upkeep_line

    told = upkeep_line(row, source.site.time_zone, source.clock.now_utc_ms())
    return f"{STATES[row.state]}: {row.pump}, {task_title(row)}: {told}"
