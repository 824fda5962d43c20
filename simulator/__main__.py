"""``python -m simulator hall`` runs the invented site, ``line`` one serial line, ``maps`` prints manuals."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from simulator import line_command
from simulator.numbers_typed import positive

_WHAT = "Runs an invented swimming hall, or one serial line that misbehaves, or prints the drives' manuals."
_HALL_EXAMPLE = "example: owncurve simulate hall --folder hall --weeks 1 --speed-up 60"


def main(words: Sequence[str] | None = None) -> int:
    """Run the command and return its exit code; bad arguments give 2 and one line."""
    arguments = _parser().parse_args(words)
    if arguments.what == "maps":
        return _maps()
    if arguments.what == "line":
        return line_command.run(arguments)
    return _hall(arguments)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="owncurve simulate", description=_WHAT)
    what = parser.add_subparsers(dest="what", required=True)
    what.add_parser("maps", help="print the register tables as the drives' paper manuals would")
    line_command.add_line(what)
    hall = what.add_parser("hall", help="run the swimming hall", epilog=_HALL_EXAMPLE)
    hall.add_argument("--folder", type=Path, help="where the trend logs go; needed for a history")
    hall.add_argument("--start-utc-ms", type=int, help="when the live run begins; now if not given")
    hall.add_argument("--real-start-ms", type=int, help="the real time that stands for the beginning")
    hall.add_argument("--weeks", type=positive, default=8.0, help="weeks of history (default 8)")
    hall.add_argument("--speed-up", type=positive, default=1.0, help="how much faster the clock runs")
    hall.add_argument("--seed", type=int, default=1, help="another seed gives other weather and noise")
    hall.add_argument("--hold", action="store_true", help="begin at the line 'begin REAL_MS' on stdin")
    hall.add_argument("--no-history", action="store_true", help="write no trend logs")
    hall.add_argument("--history-only", action="store_true", help="write the trend logs and end")
    return parser


def _maps() -> int:
    from simulator.drives import manuals

    try:
        print(manuals(), flush=True)
    except BrokenPipeError:
        # A reader that has seen enough, as "head", is no trouble; what is left goes nowhere.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


def _hall(arguments: argparse.Namespace) -> int:
    from simulator.process import HallOptions, run_hall

    if not arguments.no_history and arguments.folder is None:
        print("owncurve simulate hall: --folder is needed for the history, or --no-history", file=sys.stderr)
        return 2
    now_ms = time.time_ns() // 1_000_000
    start_utc_ms = now_ms if arguments.start_utc_ms is None else arguments.start_utc_ms
    options = HallOptions(
        folder=None if arguments.no_history else arguments.folder,
        start_utc_ms=start_utc_ms,
        real_start_ms=now_ms if arguments.real_start_ms is None else arguments.real_start_ms,
        weeks=arguments.weeks,
        speed_up=arguments.speed_up,
        seed=arguments.seed,
        live=not arguments.history_only,
        held=arguments.hold,
    )
    return run_hall(options)


if __name__ == "__main__":
    sys.exit(main())
