"""``owncurve import``: trend logs into the database, and out of it again."""

from __future__ import annotations

import argparse
import json
import time
from contextlib import closing
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from api.commands import FAILED, INTERRUPTED, OK, Refusal
from api.commands.progress import ProgressLine

if TYPE_CHECKING:
    from collector.site import Site
    from collector.store import Store
    from collector.trend_log import ImportOptions, ImportReport

SUMMARY = "take the readings of CSV trend logs, all of them or, if anything is wrong, none; or undo an import"
EXAMPLE = (
    'owncurve import P01 week12.csv --tz Europe/Lisbon --column "flow_m3h=CHW flow:gpm" '
    '--column "head_m=CHW dp:psi"'
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``import``."""
    pump = parser.add_argument("pump", metavar="PUMP", help="the pump's name in the site file")
    files = parser.add_argument(
        "files",
        metavar="FILE.csv",
        type=Path,
        nargs="+",
        help="a header row and rows below it, UTF-8; several files, such as one a point, are joined by time",
    )
    parser.add_argument("--site", type=Path, default=Path("site.toml"), help="the site file")
    _add_ways_to_read(parser)
    _add_insistence(parser)
    _add_other_tasks(parser, pump, files)
    parser.add_argument("--json", action="store_true", help="print the report as JSON")


def _add_ways_to_read(parser: argparse.ArgumentParser) -> None:
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


def _add_insistence(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--keep-stored",
        action="store_true",
        help="import the new rows of a file although many others contradict what is stored, which stays",
    )
    parser.add_argument(
        "--units-are-right",
        action="store_true",
        help="import although flow x head gives more than the electric power",
    )


def _add_other_tasks(parser: argparse.ArgumentParser, *needless: argparse.Action) -> None:
    parser.add_argument(
        "--undo",
        action=_alone(*needless),
        type=int,
        metavar="NUMBER",
        help="take back what this import brought; without a pump and a file",
    )
    parser.add_argument(
        "--list",
        action=_alone(*needless),
        nargs=0,
        const=True,
        default=False,
        help="print what was imported, with its numbers; without a pump and a file",
    )


def _alone(*others: argparse.Action) -> type[argparse.Action]:
    """Return how an option is taken that makes other arguments needless.

    Arguments that may be left out are no way: the library would take them for left out as soon as another
    option stands between a pump and its file.
    """

    class Alone(argparse.Action):
        def __call__(
            self,
            _parser: argparse.ArgumentParser,
            namespace: argparse.Namespace,
            values: object,
            _option: str | None = None,
        ) -> None:
            for other in others:
                other.required = False
            setattr(namespace, self.dest, self.const if self.nargs == 0 else values)

    return Alone


def run(arguments: argparse.Namespace) -> int:
    """Import files, undo an import or list them, and print what was done."""
    from collector.site import SiteFileError, load_site
    from collector.store import CannotUndo, StoreError
    from collector.trend_log import TrendLogError

    _must_be_one_task(arguments)
    try:
        site = load_site(arguments.site)
        print(_done(site, arguments))
    except (SiteFileError, TrendLogError, CannotUndo) as error:
        raise Refusal(str(error)) from error
    except StoreError as error:
        raise Refusal(str(error), FAILED) from error
    return OK


def _must_be_one_task(arguments: argparse.Namespace) -> None:
    alone = "--list" if arguments.list else "--undo" if arguments.undo is not None else None
    if alone and (arguments.pump is not None or (arguments.list and arguments.undo is not None)):
        raise Refusal(f"{alone} stands alone, without a pump and a file")


def _done(site: Site, arguments: argparse.Namespace) -> str:
    """Do it and return what is said of it."""
    from api.commands.import_words import report_as_json, report_words
    from collector.store import open_store

    if arguments.pump is not None:
        _must_be_a_pump(site, arguments.pump)
    zone = ZoneInfo(site.time_zone)
    with closing(open_store(site.database_url)) as store:
        if arguments.undo is not None:
            return _undone(store, arguments)
        if arguments.list:
            return _list(store, zone, as_json=arguments.json)
        reports = _import(store, arguments)
    return "\n".join(report_as_json(each) if arguments.json else report_words(each, zone) for each in reports)


def _must_be_a_pump(site: Site, name: str) -> None:
    from collector.toml_file import did_you_mean

    names = [pump.name for pump in site.pumps]
    if name not in names:
        raise Refusal(f"{site.path} has no pump {name!r}{did_you_mean(name, names)}")


def _import(store: Store, arguments: argparse.Namespace) -> tuple[ImportReport, ...]:
    from collector.trend_log import import_trend_logs

    kept = len(store.imports())
    try:
        with ProgressLine() as line:
            return import_trend_logs(
                store, arguments.pump, arguments.files, _options(arguments),
                lambda done, size: line(f"{done / max(size, 1):4.0%} of the file read"),
            )  # fmt: skip
    except KeyboardInterrupt as interrupt:
        # It may have come just after the commit, and then must not be told that nothing was kept.
        done = "stopped after the import was complete" if len(store.imports()) > kept else None
        raise Refusal(done or "stopped; nothing was imported", INTERRUPTED) from interrupt


def _undone(store: Store, arguments: argparse.Namespace) -> str:
    from api.commands.import_words import undone_words

    try:
        undone = store.undo_import(arguments.undo, time.time_ns() // 1_000_000)
    except KeyboardInterrupt as interrupt:
        raise Refusal(
            "stopped; owncurve import --list says whether it was undone", INTERRUPTED
        ) from interrupt
    return json.dumps(asdict(undone)) if arguments.json else undone_words(undone)


def _list(store: Store, zone: ZoneInfo, *, as_json: bool) -> str:
    from api.commands.import_words import list_words

    records = store.imports()
    return json.dumps([asdict(record) for record in records]) if as_json else list_words(records, zone)


def _options(arguments: argparse.Namespace) -> ImportOptions:
    from collector.trend_log import ImportOptions, column_choice

    return ImportOptions(
        time_column=arguments.time,
        time_format=arguments.time_format,
        time_zone=arguments.tz,
        columns=tuple(column_choice(text) for text in arguments.column),
        decimal=arguments.decimal,
        keep_stored=arguments.keep_stored,
        units_are_right=arguments.units_are_right,
    )
