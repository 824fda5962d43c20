"""``owncurve listen``: hear a serial line without sending a byte."""

from __future__ import annotations

import argparse
import json
import sys
import threading
import time
from typing import TYPE_CHECKING, Final

from api.commands import BUS_TROUBLE, INTERRUPTED, OK, Refusal
from api.commands.progress import ProgressLine
from api.commands.saying import say
from api.commands.stopping import stop_at_ctrl_c

if TYPE_CHECKING:
    from collector.bus.line_setting import LineSetting
    from collector.listening import LinePicture

SUMMARY = "hear a serial line without sending a byte: its setting, its master, who is polled for what"
EXAMPLE = "owncurve listen /dev/serial/by-id/usb-adapter --map 11=maps/pump.toml"
SECONDS: Final = 30.0
LONGEST_S: Final = 7 * 86_400.0
COUNT_EVERY_S: Final = 0.5


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``listen``."""
    parser.add_argument("port", metavar="PORT", help="the adapter; owncurve ports lists them")
    parser.add_argument(
        "--line", default=None, metavar='"19200 8E1"', help="the line's setting; left out, it is found"
    )
    parser.add_argument(
        "--seconds", type=float, default=SECONDS, help=f"how long to listen (default: {SECONDS:g})"
    )
    parser.add_argument(
        "--map",
        action="append",
        default=[],
        metavar="UNIT=MAP.toml",
        help="show what this unit answers as readings, as they come; may be repeated",
    )
    parser.add_argument("--units", choices=("SI", "US"), default="SI", help="units of the readings shown")
    parser.add_argument(
        "--json", action="store_true", help="print JSON, one object a line: readings, and the picture last"
    )


def run(arguments: argparse.Namespace) -> int:
    """Listen, and tell what was heard; Ctrl-C ends early and still tells."""
    from api.commands.listen_readings import HeardUnits, print_in, print_json
    from api.commands.listen_words import CAUTION, as_json, as_text
    from collector.listening import PortTrouble, listen

    setting = _setting(arguments.line)
    if not 0 < arguments.seconds <= LONGEST_S:
        raise Refusal(f"--seconds should be above 0 and at most {LONGEST_S:.0f}, not {arguments.seconds:g}")
    ears = HeardUnits(arguments.map, print_json if arguments.json else print_in(arguments.units))
    say(CAUTION)
    with stop_at_ctrl_c() as stop, _Watch(arguments.seconds) as watch:
        try:
            picture = listen(arguments.port, setting, arguments.seconds, stop, watch.tell, ears.take)
        except PortTrouble as error:
            raise Refusal(str(error), BUS_TROUBLE) from error
    ears.finish()
    print(json.dumps(as_json(picture)) if arguments.json else as_text(picture))
    if stop.is_set():
        return INTERRUPTED
    return BUS_TROUBLE if _is_trouble(picture) else OK


def _is_trouble(picture: LinePicture) -> bool:
    """Return whether bytes came that nobody can understand; a silent line is an answer, and no trouble."""
    understood = picture.has_master or picture.strays or picture.other_functions
    return bool(picture.bytes_heard and not understood)


def _setting(words: str | None) -> LineSetting | None:
    from collector.bus.line_setting import parse_line_setting

    try:
        return None if words is None else parse_line_setting(words)
    except ValueError as error:
        raise Refusal(f"--line: {error}") from error


class _Watch:
    """What goes on while nothing is printed: on a terminal one line that counts, else each new sentence."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._line = ProgressLine()
        self._words = "listening"
        self._begun_s = time.monotonic()
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._count, name="progress", daemon=True)

    def __enter__(self) -> _Watch:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._done.set()
        self._thread.join()
        self._line.wipe()

    def tell(self, words: str) -> None:
        """Take the next sentence; what is tried is shown where it counts, and nowhere else."""
        if not sys.stderr.isatty() and words != self._words and not words.startswith("trying"):
            say(words)
        self._words = words

    def _count(self) -> None:
        while not self._done.wait(COUNT_EVERY_S):
            gone_s = time.monotonic() - self._begun_s
            self._line(f"{gone_s:3.0f} of {self._seconds:.0f} s: {self._words}")
