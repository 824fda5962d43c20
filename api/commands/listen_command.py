"""``owncurve listen``: hear a serial line without sending a byte."""

from __future__ import annotations

import argparse
import json
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from api.commands import BUS_TROUBLE, INTERRUPTED, OK, Refusal

if TYPE_CHECKING:
    from collector.bus.line_setting import LineSetting
    from collector.listening import LinePicture
    from collector.listening.exchanges import Event, Exchange
    from collector.listening.pump_ear import PumpEar
    from collector.reading import Reading
    from dashboards.views import UnitSystem

SUMMARY = "hear a serial line without sending a byte: its setting, its master, who is polled for what"
EXAMPLE = "owncurve listen /dev/serial/by-id/usb-adapter --map 11=maps/pump.toml"
SECONDS: Final = 30.0
LONGEST_S: Final = 7 * 86_400.0
COUNT_EVERY_S: Final = 0.5
LATE_REPLY_S: Final = 1.0
"""How late an answer may be after its master's time-out; the same as a bus has unless it says otherwise."""


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
    from api.commands.listen_words import CAUTION, as_json, as_text
    from collector.listening import PortTrouble, listen

    setting = _setting(arguments.line)
    if not 0 < arguments.seconds <= LONGEST_S:
        raise Refusal(f"--seconds should be above 0 and at most {LONGEST_S:.0f}, not {arguments.seconds:g}")
    ears = _Ears(arguments.map, _print_json if arguments.json else _print_in(arguments.units))
    _say(CAUTION)
    with _stop_at_ctrl_c() as stop, _Watch(arguments.seconds) as watch:
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


def _say(words: str) -> None:
    print(f"owncurve: {words}", file=sys.stderr, flush=True)


@contextmanager
def _stop_at_ctrl_c() -> Iterator[threading.Event]:
    stop = threading.Event()
    before = {
        number: signal.signal(number, lambda *_: stop.set()) for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class _Watch:
    """What goes on while nothing is printed: on a terminal one line that counts, else each new sentence."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._watched = sys.stderr.isatty()
        self._words = "listening"
        self._begun_s = time.monotonic()
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._count, name="progress", daemon=True)

    def __enter__(self) -> _Watch:
        if self._watched:
            self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._done.set()
        if self._watched:
            self._thread.join()
            print("\r" + " " * 78 + "\r", end="", file=sys.stderr, flush=True)

    def tell(self, words: str) -> None:
        """Take the next sentence."""
        if not self._watched and words != self._words and not words.startswith("trying"):
            _say(words)
        self._words = words

    def _count(self) -> None:
        while not self._done.wait(COUNT_EVERY_S):
            gone_s = time.monotonic() - self._begun_s
            line = f"{gone_s:3.0f} of {self._seconds:.0f} s: {self._words}"
            print(f"\r{line:<78}", end="", file=sys.stderr, flush=True)


class _Ears:
    """The readings of those units for which a register map was given."""

    def __init__(self, choices: Sequence[str], show: Callable[[int, Reading], None]) -> None:
        from collector.listening.answer_order import AnswerOrder

        self._ears: dict[int, PumpEar] = dict(_ear(choice) for choice in choices)
        self._orders = {unit: AnswerOrder(LATE_REPLY_S) for unit in self._ears}
        self._show = show

    def take(self, events: Sequence[Event]) -> None:
        """Take what was heard; show each round of the master that is complete."""
        from collector.listening.exchanges import Exchange, Stray
        from collector.listening.frames import READS

        for event in events:
            if isinstance(event, Stray) and event.frame.unit in self._orders:
                self._orders[event.frame.unit].stray(event)
            elif isinstance(event, Exchange) and event.request.function in READS:
                self._exchange(event)

    def _exchange(self, exchange: Exchange) -> None:
        unit = exchange.request.unit
        if unit not in self._ears:
            return
        is_certain = self._orders[unit].is_certain(exchange)
        if exchange.answer is not None and not is_certain:
            return
        ended_s = (exchange.answer or exchange.request).ends_s
        time_utc_ms = time.time_ns() / 1e6 - (time.monotonic() - ended_s) * 1000
        self._tell(unit, self._ears[unit].take(exchange, round(time_utc_ms)))

    def finish(self) -> None:
        """Show what the last round has given."""
        for unit, ear in self._ears.items():
            self._tell(unit, ear.finish())

    def _tell(self, unit: int, readings: Sequence[Reading]) -> None:
        for reading in readings:
            self._show(unit, reading)


def _ear(choice: str) -> tuple[int, PumpEar]:
    from collector.listening.pump_ear import PumpEar
    from collector.registers import RegisterMapError, load_register_map

    unit, mark, file = choice.partition("=")
    if not mark or not unit.strip().isdigit() or not 1 <= int(unit) <= 247:
        raise Refusal(f"--map should be UNIT=MAP.toml with a unit of 1 to 247, not {choice!r}")
    try:
        return int(unit), PumpEar(f"unit {int(unit)}", load_register_map(Path(file)))
    except RegisterMapError as error:
        raise Refusal(str(error)) from error


def _print_json(unit: int, reading: Reading) -> None:
    from collector.quantities import QUANTITY_NAMES

    told: dict[str, Any] = {"unit": unit, "time_utc": _at(reading).isoformat().replace("+00:00", "Z")}
    told |= {name: value for name in QUANTITY_NAMES if (value := getattr(reading, name)) is not None}
    print(json.dumps(told | {"source": reading.source.name.lower()}), flush=True)


def _print_in(system: UnitSystem) -> Callable[[int, Reading], None]:
    def show(unit: int, reading: Reading) -> None:
        from collector.quantities import QUANTITY_NAMES
        from dashboards.display import amount
        from dashboards.wording.terms import QUANTITIES

        values = [
            f"{QUANTITIES[name].name.lower()} {amount(value, name, system)}"
            for name in QUANTITY_NAMES
            if (value := getattr(reading, name)) is not None
        ]
        print(f"{_at(reading).astimezone():%H:%M:%S} unit {unit}: {', '.join(values)}", flush=True)

    return show


def _at(reading: Reading) -> datetime:
    return datetime.fromtimestamp(reading.time_utc_ms / 1000, UTC)
