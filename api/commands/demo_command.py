"""``owncurve demo``: an invented swimming hall, with eight weeks of history and live drives."""

from __future__ import annotations

import argparse
import json
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from api.commands import FAILED, OK, Refusal
from api.commands.process_tree import ProcessTree
from api.commands.progress import ProgressLine
from api.commands.run_command import start_parts, watch
from api.commands.serve_command import DEFAULT_PORT

SUMMARY = "show an invented swimming hall: no hardware and no internet needed"
EXAMPLE = "owncurve demo --speed-up 60"

LONGEST_SPEED_UP: Final = 3600.0
WEEKS: Final = 8


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of ``demo``."""
    parser.add_argument("--data", type=Path, help="a new or empty folder for the data; default: a new one")
    parser.add_argument(
        "--speed-up", type=float, default=1.0, metavar="FACTOR", help="let the simulated clock run faster"
    )
    parser.add_argument("--units", choices=("SI", "US"), default="US", help="units of the pages at first")
    parser.add_argument("--port", type=int, default=DEFAULT_PORT, help="port of the page; 0 picks a free one")
    parser.add_argument("--seed", type=int, default=1, help="another number gives other weather and noise")


def run(arguments: argparse.Namespace) -> int:
    """Simulate, import the history, analyse it, then poll, analyse and serve until Ctrl-C."""
    from api.commands.serve_command import listening_socket

    if not 1 <= arguments.speed_up <= LONGEST_SPEED_UP:
        raise Refusal(f"--speed-up takes 1 to {LONGEST_SPEED_UP:g}, not {arguments.speed_up:g}")
    listening_socket(arguments.port).close()  # A port that is taken is said before the wait, not after it.
    folder = _empty_folder(arguments.data)
    tree = ProcessTree()
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # Ends as Ctrl-C does.
    try:
        _run_in(tree, folder, arguments)
        return watch(tree)
    except KeyboardInterrupt:
        return OK
    finally:
        tree.stop()
        _tell(f"everything has ended; the data is in {folder}")


def _run_in(tree: ProcessTree, folder: Path, arguments: argparse.Namespace) -> None:
    from api.demo.hall_site import write_site
    from api.demo.history import import_history
    from api.demo.people import record_people
    from collector.clock import Clock

    start_ms = _now_ms()
    _tell(f"{WEEKS} weeks in an invented swimming hall are being simulated")
    tree.start("simulator", "simulator", _simulator_words(folder, start_ms, arguments), read=True)
    events = _events(tree)
    history, listening = _event(events, "history"), _event(events, "listening")
    site = write_site(folder, arguments.units, listening["buses"], listening["units"])
    with ProgressLine() as line:
        readings = import_history(site, history, line)
    _tell(f"{readings:,} readings imported; each pump's own curve is being learned")
    _analyse_once(site)
    record_people(site, Clock(simulated_start_ms=start_ms, real_start_ms=_now_ms()), history)
    # Only now, so that no time passes in the hall while its history is taken in.
    clock = Clock(simulated_start_ms=start_ms, real_start_ms=_now_ms(), speed_up=arguments.speed_up)
    tree.tell("simulator", f"begin {clock.real_start_ms}")
    # Its lines are its own simulator's: nobody else can be on them.
    start_parts(tree, site, arguments.port, clock.as_text(), is_only_master=True)
    _tell("the page's address follows; Ctrl-C ends everything")


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


def _simulator_words(folder: Path, start_ms: int, arguments: argparse.Namespace) -> list[str]:
    return [
        "hall",
        "--hold",
        *("--folder", str(folder / "history")),
        *("--start-utc-ms", str(start_ms)),
        *("--weeks", str(WEEKS)),
        *("--speed-up", f"{arguments.speed_up:g}"),
        *("--seed", str(arguments.seed)),
    ]


def _empty_folder(folder: Path | None) -> Path:
    if folder is None:
        return Path(tempfile.mkdtemp(prefix="owncurve-demo-"))
    if folder.exists() and not folder.is_dir():
        raise Refusal(f"--data {folder}: is a file; name a new or empty folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        is_empty = not any(folder.iterdir())
    except OSError as error:
        raise Refusal(f"--data {folder}: {error.strerror}") from error
    if not is_empty:
        raise Refusal(f"--data {folder}: is not empty, and nothing in it shall be lost; name a new folder")
    return folder.resolve()


def _events(tree: ProcessTree) -> Iterator[dict[str, Any]]:
    output = tree.children["simulator"].stdout
    for line in output or ():
        yield json.loads(line)


def _event(events: Iterator[dict[str, Any]], name: str) -> dict[str, Any]:
    for event in events:
        if event["event"] == name:
            return event
    raise Refusal("the simulator ended before it was ready; its own words stand above", FAILED)


def _analyse_once(site: Path) -> None:
    from api.analysis.site_pass import analyse_site
    from api.store.api_store import open_api_store
    from collector.clock import Clock
    from collector.site import load_site
    from collector.store import open_store

    loaded = load_site(site)
    store, api_store = open_store(loaded.database_url), open_api_store(loaded.database_url)
    try:
        analyse_site(loaded, store, api_store, Clock())
    finally:
        api_store.close()
        store.close()


def _tell(words: str) -> None:
    print(f"owncurve demo: {words}", file=sys.stderr, flush=True)
