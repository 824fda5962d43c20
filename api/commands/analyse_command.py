"""``owncurve analyse``: bring hours, curves and findings up to date, or replay what they would have said."""

from __future__ import annotations

import argparse
import json
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

from api.commands import FAILED, OK, Refusal
from api.commands.progress import ProgressLine
from api.commands.site_source import add_site_argument, must_be_a_pump, opened_source

if TYPE_CHECKING:
    from api.analysis.frames import Tail
    from api.analysis.site_pass import AnalysisReport
    from api.answers.source import Source

SUMMARY = "bring hour rows, curves and findings up to date with the stored readings"
EXAMPLE = "owncurve analyse --site site.toml --replay --loss 3"

DEFAULT_LOSS_PCT: Final = 3.0
LEAST_LOSS_PCT: Final = 0.5
MOST_LOSS_PCT: Final = 20.0


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
    parser.add_argument(
        "--replay",
        action="store_true",
        help="then say what would have been found when, day by day, and what other thresholds would do",
    )
    parser.add_argument("--pump", default=None, metavar="NAME", help="replay this pump alone")
    parser.add_argument(
        "--loss",
        type=float,
        default=None,
        metavar="PERCENT",
        help=f"replay: the loss of head to try ({DEFAULT_LOSS_PCT:g})",
    )
    parser.add_argument("--json", action="store_true", help="print what was done as JSON")


def run(arguments: argparse.Namespace) -> int:
    """Run one pass, or passes until Ctrl-C."""
    if arguments.follow is not None and not 0 < arguments.follow <= 86_400:
        raise Refusal("--follow takes seconds above 0, a day at most")
    _must_fit_together(arguments)
    with opened_source(arguments) as source:
        must_be_a_pump(source, arguments.pump)
        if arguments.follow is not None:
            _follow(source, arguments.follow)
            return OK
        report = _one_pass(source)
        if arguments.replay:
            print(_replay(source, arguments, [each.pump for each in report.failed]))
        else:
            print(_as_json(report) if arguments.json else _as_text(report))
        for sentence in (each.sentence for each in report.failed):
            print(f"owncurve: {sentence}", file=sys.stderr)
    return FAILED if report.failed else OK


def _must_fit_together(arguments: argparse.Namespace) -> None:
    if arguments.replay and arguments.follow is not None:
        raise Refusal("--replay looks back and --follow goes on: one of the two")
    if not arguments.replay and (arguments.pump is not None or arguments.loss is not None):
        raise Refusal("--pump and --loss go with --replay")
    if arguments.loss is not None and not LEAST_LOSS_PCT <= arguments.loss <= MOST_LOSS_PCT:
        raise Refusal(f"--loss takes percent of head, {LEAST_LOSS_PCT:g} to {MOST_LOSS_PCT:g}")


def _replay(source: Source, arguments: argparse.Namespace, failed: Sequence[str]) -> str:
    from api.answers.replays import plain_replay, replayed
    from api.commands.replay_words import replay_text

    loss = (DEFAULT_LOSS_PCT if arguments.loss is None else arguments.loss) / 100
    pumps = [pump for pump in source.site.pumps if arguments.pump in (None, pump.name)]
    # What fails in analysis would fail here too; the line about it says so.
    pumps = [pump for pump in pumps if pump.name not in failed]
    with ProgressLine() as line:
        found = replayed(source, pumps, loss, _counting(line, "pumps replayed"))
    if arguments.json:
        return json.dumps(plain_replay(found, loss), indent=2, allow_nan=False)
    return replay_text(source, found, loss)


def _one_pass(source: Source) -> AnalysisReport:
    from api.analysis.site_pass import analyse_site

    with ProgressLine() as line:
        tell = _counting(line, "pumps analysed")
        return analyse_site(source.site, source.store, source.api_store, source.clock, tell)


def _counting(line: ProgressLine, what: str) -> Callable[[int, int], None]:
    return lambda done, pumps: line(f"{done} of {pumps} {what}")


def _follow(source: Source, seconds: float) -> None:
    from api.analysis.site_pass import analyse_site
    from collector.store import StoreLocked

    tails: dict[str, Tail] = {}
    told: set[str] = set()
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    while not stop.is_set():
        try:
            report = analyse_site(source.site, source.store, source.api_store, source.clock, tails=tails)
            failed = {each.sentence for each in report.failed}
            for sentence in sorted(failed - told):  # Tried again once it has rested; it is said once.
                print(f"owncurve: {sentence}", file=sys.stderr)
            told = failed
        except StoreLocked as error:
            # Somebody else writes for long, such as a large import: the next pass takes it all in.
            print(f"owncurve: {error}; trying again", file=sys.stderr)
        stop.wait(seconds)


def _as_json(report: AnalysisReport) -> str:
    return json.dumps(
        {
            "pumps": report.pumps,
            "hours": report.hours,
            "changed_findings": report.changed_findings,
            "pumps_failed": [each.pump for each in report.failed],
        }
    )


def _as_text(report: AnalysisReport) -> str:
    found = report.changed_findings
    return (
        f"{_counted(report.pumps, 'pump')} and {_counted(report.hours, 'hour')} looked at; "
        f"{_counted(found, 'finding')} {'is' if found == 1 else 'are'} new or changed"
    )


def _counted(count: int, thing: str) -> str:
    """Return a count of things in words.

    >>> _counted(1, "pump"), _counted(1200, "hour")
    ('1 pump', '1,200 hours')
    """
    return f"{count:,} {thing}{'' if count == 1 else 's'}"
