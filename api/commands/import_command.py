"""``owncurve import``: a trend log into the database."""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from api.commands import FAILED, OK, Refusal

if TYPE_CHECKING:
    from collector.site import Site
    from collector.trend_log import ImportOptions, ImportReport

SUMMARY = "take the readings of a CSV trend log, all of them or, if anything is wrong, none"
EXAMPLE = (
    'owncurve import P01 week12.csv --tz Europe/Lisbon --column "flow_m3h=CHW flow:gpm" '
    '--column "head_m=CHW dp:psi"'
)
_PROGRESS_EVERY_S: Final = 0.2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``import``."""
    parser.add_argument("pump", metavar="PUMP", help="the pump's name in the site file")
    parser.add_argument("file", metavar="FILE.csv", type=Path, help="a header row and rows below it, UTF-8")
    parser.add_argument("--site", type=Path, default=Path("site.toml"), help="the site file")
    parser.add_argument(
        "--column",
        action="append",
        default=[],
        metavar="QUANTITY=HEADER[:UNIT]",
        help="a column that is not named as a quantity of ours, or is in another unit; may be repeated",
    )
    parser.add_argument(
        "--time",
        metavar="HEADER",
        help='the time column, when its name does not tell; "Date+Clock" joins two',
    )
    parser.add_argument(
        "--time-format",
        metavar="FORM",
        help='the form of times that are not ISO 8601, such as "%%m/%%d/%%Y %%I:%%M %%p"; or unix_s, unix_ms',
    )
    parser.add_argument(
        "--tz", metavar="ZONE", help="time zone of times without an offset: Europe/Lisbon, UTC"
    )
    parser.add_argument("--decimal", choices=("auto", "point", "comma"), default="auto", help="decimal sign")
    parser.add_argument("--json", action="store_true", help="print the report as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Import one file and print what was done."""
    from collector.site import SiteFileError, load_site
    from collector.store import StoreError
    from collector.trend_log import TrendLogError

    try:
        site = load_site(arguments.site)
        _must_be_a_pump(site, arguments.pump)
        report = _import(site, arguments)
    except (SiteFileError, TrendLogError) as error:
        raise Refusal(str(error)) from error
    except StoreError as error:
        raise Refusal(str(error), FAILED) from error
    print(_as_json(report) if arguments.json else _as_text(report, ZoneInfo(site.time_zone)))
    return OK


def _must_be_a_pump(site: Site, name: str) -> None:
    from collector.toml_file import did_you_mean

    names = [pump.name for pump in site.pumps]
    if name not in names:
        raise Refusal(f"{site.path} has no pump {name!r}{did_you_mean(name, names)}")


def _import(site: Site, arguments: argparse.Namespace) -> ImportReport:
    from collector.store import open_store
    from collector.trend_log import import_trend_log

    options = _options(arguments)
    store = open_store(site.database_url)
    progress = _Progress()
    try:
        return import_trend_log(store, arguments.pump, arguments.file, options, progress.tell)
    finally:
        progress.clear()
        store.close()


def _options(arguments: argparse.Namespace) -> ImportOptions:
    from collector.trend_log import ImportOptions, column_choice

    return ImportOptions(
        time_column=arguments.time,
        time_format=arguments.time_format,
        time_zone=arguments.tz,
        columns=tuple(column_choice(text) for text in arguments.column),
        decimal=arguments.decimal,
    )


class _Progress:
    """A share of the file on a terminal; nothing where nobody watches."""

    def __init__(self) -> None:
        self._watched = sys.stderr.isatty()
        self._next_s = time.monotonic() + _PROGRESS_EVERY_S
        self._shown = False

    def tell(self, done: int, size: int) -> None:
        """Show the share read, now and then."""
        if self._watched and time.monotonic() >= self._next_s:
            self._next_s = time.monotonic() + _PROGRESS_EVERY_S
            self._shown = True
            print(f"\r{done / max(size, 1):4.0%} of the file read", end="", file=sys.stderr, flush=True)

    def clear(self) -> None:
        """Leave an empty line behind."""
        if self._shown:
            print("\r" + " " * 30 + "\r", end="", file=sys.stderr, flush=True)


def _as_json(report: ImportReport) -> str:
    return json.dumps(
        {**asdict(report), "first_utc": _iso(report.first_utc_ms), "last_utc": _iso(report.last_utc_ms)}
    )


def _as_text(report: ImportReport, zone: ZoneInfo) -> str:
    lines = [
        f"{report.pump}: {report.rows_new:,} new readings from {report.file}"
        f" ({report.rows_duplicate:,} were there already, {report.rows_set_aside:,} rows set aside)",
        f"  from {_local(report.first_utc_ms, zone)} to {_local(report.last_utc_ms, zone)}",
        f"  columns: {', '.join(report.columns_used)}",
    ]
    if report.columns_ignored:
        lines.append(f"  columns not used: {', '.join(report.columns_ignored)}")
    lines += [f"  {trouble.sentence()}; no value was taken from them" for trouble in report.column_troubles]
    if report.rows_contradicting:
        lines.append(
            f"  {report.rows_contradicting:,} rows contradict stored readings at the same instant;"
            " the stored ones stay"
        )
    lines += _set_aside_lines(report)
    if report.rows_new:
        lines.append("  owncurve analyse takes it in, or by itself an owncurve run of this site")
    return "\n".join(lines)


def _set_aside_lines(report: ImportReport) -> list[str]:
    lines = [f"  line {each.line} set aside: {each.reason}" for each in report.set_aside]
    more = report.rows_set_aside - len(report.set_aside)
    return [*lines, f"  and {more:,} more; all are kept in the database"] if more else lines


def _local(time_utc_ms: int | None, zone: ZoneInfo) -> str | None:
    return None if time_utc_ms is None else datetime.fromtimestamp(time_utc_ms / 1000, zone).isoformat()


def _iso(time_utc_ms: int | None) -> str | None:
    if time_utc_ms is None:
        return None
    return datetime.fromtimestamp(time_utc_ms / 1000, UTC).isoformat().replace("+00:00", "Z")
