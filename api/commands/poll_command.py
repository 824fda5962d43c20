"""``owncurve poll``: read the drives of a site into its database."""

from __future__ import annotations

import argparse
import signal
import threading
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final

from api.commands import BUS_TROUBLE, FAILED, OK, Refusal
from api.commands.poll_news import PollNews
from api.commands.saying import say

if TYPE_CHECKING:
    from collector.clock import Clock
    from collector.poll import LineSink, Sink
    from collector.reading import PollFailure, Reading
    from collector.site import Site

SUMMARY = "read the drives of a site into its database, until Ctrl-C; it never writes to a drive"
EXAMPLE = "owncurve poll --site site.toml"
REPORT_EVERY_S: Final = 60.0
LOOK_EVERY_S: Final = 0.5


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``poll``."""
    parser.add_argument("--site", type=Path, default=Path("site.toml"), help="the site file")
    add_only_master_argument(parser)
    parser.add_argument("--clock", default=None, help=argparse.SUPPRESS)


def add_only_master_argument(parser: argparse.ArgumentParser) -> None:
    """Add the claim that nobody else asks on the site's lines."""
    parser.add_argument(
        "--i-am-the-only-master",
        action="store_true",
        help="ask on serial lines without listening first for another master",
    )


def run(arguments: argparse.Namespace) -> int:
    """Poll until Ctrl-C or a signal to end; scans under way are finished and kept."""
    from collector.site import SiteFileError, load_site
    from collector.store import StoreError, open_store

    try:
        site, clock = load_site(arguments.site), _clock(arguments.clock)
        store = open_store(site.database_url)
    except SiteFileError as error:
        raise Refusal(str(error)) from error
    except StoreError as error:
        raise Refusal(str(error), FAILED) from error
    try:
        with claimed(site, store.database.path):
            keeps = store.as_sink()
            sink = CountingSink(keeps, PollNews(site, say))
            _poll(site, sink, clock, keeps, is_only_master=arguments.i_am_the_only_master)
    finally:
        store.close()
    return OK


@contextmanager
def claimed(site: Site, database: Path) -> Iterator[None]:
    """Hold the site's database and lines for this process; refuse at once when another process polls them."""
    from collector.poll import AlreadyClaimed, claim_site

    with ExitStack() as claims:
        try:
            claims.enter_context(claim_site(site, database))
        except AlreadyClaimed as error:
            raise Refusal(str(error), BUS_TROUBLE) from error
        yield


def _clock(text: str | None) -> Clock:
    from collector.clock import Clock, clock_from_text

    try:
        return Clock() if text is None else clock_from_text(text)
    except ValueError as error:
        raise Refusal(f"--clock: {error}") from error


def _poll(site: Site, sink: CountingSink, clock: Clock, lines: LineSink, *, is_only_master: bool) -> None:
    from collector.poll import UndeliveredReadings, poll_site
    from collector.registers import RegisterMapError

    stop = _stop_at_signals()
    if not any(pump.bus for pump in site.pumps):
        say(f"no pump of {site.path} has a bus; nothing to read until Ctrl-C")
    elif not is_only_master:
        _say_listening_first(site)
    poll = partial(poll_site, site, sink, clock, stop, lines, is_only_master=is_only_master)
    # The main thread only waits, in pieces: on some systems a signal reaches it no other way.
    with ThreadPoolExecutor(1, "poll") as threads:
        polling = threads.submit(poll)
        try:
            _report_until_done(polling, sink)
            polling.result()
        except RegisterMapError as error:
            raise Refusal(str(error)) from error
        except UndeliveredReadings as error:
            raise Refusal(str(error), FAILED) from error
        finally:
            stop.set()


def _say_listening_first(site: Site) -> None:
    for bus in site.buses:
        if bus.kind == "serial" and bus.listen_first_s and not bus.listen_only and site.pumps_on(bus):
            say(f"{bus.name}: listening for {bus.listen_first_s:g} s before anything is asked")


def _report_until_done(polling: Future[None], sink: CountingSink) -> None:
    next_report_s = time.monotonic() + REPORT_EVERY_S
    while not wait([polling], LOOK_EVERY_S).done:
        if time.monotonic() >= next_report_s:
            next_report_s += REPORT_EVERY_S
            say(f"last minute: {sink.sentence()}")


def _stop_at_signals() -> threading.Event:
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    return stop


class CountingSink:
    """A sink that counts what passes and tells the news in it, so that a person sees that something does."""

    def __init__(self, sink: Sink, news: PollNews) -> None:
        self._sink = sink
        self._news = news
        self._lock = threading.Lock()
        self._readings = 0
        self._failures = 0

    def append(self, readings: Sequence[Reading]) -> None:
        """Pass readings on and count them once they are kept."""
        self._sink.append(readings)
        with self._lock:
            self._readings += len(readings)
        self._news.read(readings)

    def failed(self, failures: Sequence[PollFailure]) -> None:
        """Pass failures on and count them once they are kept."""
        self._sink.failed(failures)
        with self._lock:
            self._failures += len(failures)
        self._news.failed(failures)

    def sentence(self) -> str:
        """Return what came since the last call, in words."""
        with self._lock:
            words = f"{self._readings} readings kept, {self._failures} scans of a pump failed"
            self._readings = self._failures = 0
        return words
