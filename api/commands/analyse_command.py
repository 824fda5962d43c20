"""``owncurve analyse``: bring hour rows, curves and findings up to date."""

from __future__ import annotations

import argparse
import json
import signal
import sys
import threading
from typing import TYPE_CHECKING

from api.commands import OK, Refusal
from api.commands.site_source import add_site_argument, opened_source

if TYPE_CHECKING:
    from api.analysis.frames import Tail
    from api.analysis.site_pass import AnalysisReport
    from api.answers.source import Source

SUMMARY = "bring hour rows, curves and findings up to date with the stored readings"
EXAMPLE = "owncurve analyse --site site.toml --follow 10"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``analyse``."""
    add_site_argument(parser, clock=True)
    parser.add_argument(
        "--follow",
        type=float,
        default=None,
        metavar="SECONDS",
        help="go on, with a pass each so many seconds",
    )
    parser.add_argument("--json", action="store_true", help="print what was done as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Run one pass, or passes until Ctrl-C."""
    if arguments.follow is not None and not 0 < arguments.follow <= 86_400:
        raise Refusal("--follow takes seconds above 0, a day at most")
    with opened_source(arguments) as source:
        if arguments.follow is None:
            report = _one_pass(source)
            print(_as_json(report) if arguments.json else _as_text(report))
        else:
            _follow(source, arguments.follow)
    return OK


def _one_pass(source: Source) -> AnalysisReport:
    from api.analysis.site_pass import analyse_site

    watched = sys.stderr.isatty()

    def tell(done: int, pumps: int) -> None:
        if watched:
            end = "\n" if done == pumps else ""
            print(f"\r{done} of {pumps} pumps analysed", end=end, file=sys.stderr, flush=True)

    return analyse_site(source.site, source.store, source.api_store, source.clock, tell)


def _follow(source: Source, seconds: float) -> None:
    from api.analysis.site_pass import analyse_site
    from collector.store import StoreLocked

    tails: dict[str, Tail] = {}
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    while not stop.is_set():
        try:
            analyse_site(source.site, source.store, source.api_store, source.clock, tails=tails)
        except StoreLocked as error:
            # Somebody else writes for long, such as a large import: the next pass takes it all in.
            print(f"owncurve: {error}; trying again", file=sys.stderr)
        stop.wait(seconds)


def _as_json(report: AnalysisReport) -> str:
    return json.dumps(
        {"pumps": report.pumps, "hours": report.hours, "changed_findings": report.changed_findings}
    )


def _as_text(report: AnalysisReport) -> str:
    return (
        f"{report.pumps} pumps and {report.hours:,} hours looked at; "
        f"{report.changed_findings} findings are new or changed"
    )
