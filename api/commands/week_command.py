"""``owncurve week``: a week of every pump, why it changed and what it is worth; also as files."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Final

from api.commands import OK, Refusal
from api.commands.site_source import add_site_argument, must_be_a_pump, opened_source

if TYPE_CHECKING:
    from api.answers.source import Source
    from collector.site import Pump
    from dashboards.views import EnergyWeek
    from dashboards.why_views import WhyPage

SUMMARY = "what a week took, why that changed, and what is worth doing; also as CSV, XLSX or Parquet"
EXAMPLE = "owncurve week --site site.toml --week 2026-W46 --csv week.csv"
KINDS: Final = ("csv", "xlsx", "parquet")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``week``."""
    add_site_argument(parser, clock=True)
    parser.add_argument("--pump", default=None, metavar="NAME", help="of this pump alone")
    parser.add_argument(
        "--week",
        default=None,
        metavar="WEEK",
        help="as 2026-W46, or any day of it as 2026-11-12; without it the newest whole week",
    )
    parser.add_argument(
        "--all", action="store_true", help="put every week into the files, not this one alone"
    )
    parser.add_argument("--json", action="store_true", help="print JSON in SI units")
    for kind in KINDS:
        needs = "" if kind == "csv" else " (needs owncurve[export])"
        parser.add_argument(
            f"--{kind}", type=Path, default=None, metavar="FILE", help=f"write this file{needs}"
        )


def run(arguments: argparse.Namespace) -> int:
    """Print a week, or write it into the files that are named."""
    files = {kind: path for kind in KINDS if (path := getattr(arguments, kind)) is not None}
    if arguments.all and not files:
        raise Refusal("--all goes with --csv, --xlsx or --parquet; owncurve energy prints every week")
    with opened_source(arguments, to_read=True) as source:
        must_be_a_pump(source, arguments.pump)
        pumps = [pump for pump in source.site.pumps if arguments.pump in (None, pump.name)]
        start = _start(source, pumps, arguments.week)
        if files:
            _write(source, pumps, None if arguments.all else start, files)
        else:
            _print(source, _pages(source, pumps, start, arguments.pump is None), arguments.json)
    return OK


def _start(source: Source, pumps: Iterable[Pump], asked: str | None) -> int:
    """Return the start of the week that is asked for [ms UTC].

    Raises
    ------
    Refusal
        When the words are no week, or no pump has a reading in it.
    """
    from api.analytics.energy.weeks import week_of
    from api.answers.week_pages import newest_whole
    from api.answers.weeks import pump_weeks

    weeks = [pump_weeks(source, pump) for pump in pumps]
    starts = {week.start_utc_ms for each in weeks for week in each}
    start = newest_whole(weeks) if asked is None else week_of(day_of(asked), source.site.time_zone)[0]
    if start is None:
        raise Refusal("there is no week to show yet: there are no readings, or owncurve analyse has not run")
    if start not in starts:
        raise Refusal(f"--week {asked}: there are no readings in it")
    return start


def day_of(words: str) -> date:
    """Return a day of the week that a person names.

    Raises
    ------
    Refusal
        When it is neither an ISO 8601 week nor a date.

    >>> day_of("2026-W46"), day_of("2026-11-12")
    (datetime.date(2026, 11, 9), datetime.date(2026, 11, 12))
    """
    year, is_week, number = words.upper().partition("-W")
    try:
        if is_week:
            return date.fromisocalendar(int(year), int(number), 1)
        return date.fromisoformat(words)
    except ValueError as error:
        raise Refusal(
            f"--week {words}: expected a week such as 2026-W46, or a day of it such as 2026-11-12"
        ) from error


def _pages(source: Source, pumps: Iterable[Pump], start: int, with_all: bool) -> list[WhyPage]:
    from api.answers.week_pages import why_page

    asked = [*([None] if with_all else []), *pumps]
    pages = (why_page(source, pump, start) for pump in asked)
    return [page for page in pages if page is not None]


def _print(source: Source, pages: list[WhyPage], as_json: bool) -> None:
    from api.commands.week_words import heading, plain_why, week_lines

    if as_json:
        print(json.dumps([plain_why(page) for page in pages], indent=2, allow_nan=False))
        return
    print(heading(pages[0]))
    for page in pages:
        print("\n".join(week_lines(page)))


def _write(source: Source, pumps: Iterable[Pump], start: int | None, files: dict[str, Path]) -> None:
    from api.answers.week_sheet import week_sheet
    from api.commands.sheet_files import write_sheet

    sheet = week_sheet(source.site, weeks_of(source, pumps, start))
    for kind, path in files.items():
        write_sheet(sheet, kind, path)
        print(f"{path}: {len(sheet.rows)} row{'' if len(sheet.rows) == 1 else 's'}, one a pump and week")


def weeks_of(
    source: Source, pumps: Iterable[Pump], start_utc_ms: int | None = None
) -> list[tuple[str, EnergyWeek]]:
    """Return the weeks of some pumps with what their counters say, all or the one that begins then."""
    from api.answers.weeks import pump_weeks, with_counters

    return [
        (pump.name, with_counters(source, pump, week))
        for pump in pumps
        for week in pump_weeks(source, pump)
        if start_utc_ms in (None, week.start_utc_ms)
    ]
