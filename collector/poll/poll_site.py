"""Polling a whole site: buses in parallel, each in its own thread."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from collector.clock import Clock
from collector.poll.bus_listener import BusListener
from collector.poll.bus_poller import BusPoller
from collector.poll.outbox import LineSink, Outbox, Sink
from collector.registers import RegisterMap, load_register_map
from collector.site import Site

STOP_WITHIN_S: Final = 4.5
"""All told; what is still waiting for a drive's time-out then is left behind, having nothing to lose."""
BUSES_STOP_WITHIN_S: Final = 2.5


def poll_site(
    site: Site,
    sink: Sink,
    clock: Clock,
    stop: threading.Event,
    lines: LineSink | None = None,
    *,
    is_only_master: bool = False,
) -> None:
    """Read every pump that has a bus, at its interval, until ``stop`` is set; then return within 5 s.

    A bus that is only listened to is asked nothing: its readings are what another master is answered. Any
    other serial bus is listened to before each opening, and not asked while another master is heard, unless
    ``is_only_master`` says that there is none.

    Readings go to ``sink`` from one thread, a scan at a time (several when the sink is slow), and are kept
    and offered again when it raises. Each carries the clock's time of the drive's last answer.
    ``lines`` is given how each bus was used, a count a unit and quarter of an hour.

    Raises
    ------
    RegisterMapError
        Before anything is read, when a register map cannot be used.
    UndeliveredReadings
        After stop, when the sink still refused readings.
    """
    maps = _register_maps(site)
    outbox = Outbox(sink, lines)
    troubles: list[BaseException] = []
    threads = [
        threading.Thread(target=_guarded(poller.run, troubles, stop), name=name, daemon=True)
        for name, poller in _pollers(site, maps, outbox, clock, stop, is_only_master)
    ]
    outbox.start()
    for thread in threads:
        thread.start()
    stop.wait()
    _end(threads, outbox)
    if troubles:
        raise troubles[0]


def _register_maps(site: Site) -> dict[Path, RegisterMap]:
    paths = {path for pump in site.pumps if (path := site.register_map_path(pump)) is not None}
    return {path: load_register_map(path) for path in sorted(paths)}


def _pollers(
    site: Site,
    maps: dict[Path, RegisterMap],
    outbox: Outbox,
    clock: Clock,
    stop: threading.Event,
    is_only_master: bool,
) -> list[tuple[str, BusPoller | BusListener]]:
    pollers: list[tuple[str, BusPoller | BusListener]] = []
    for bus in site.buses:
        pumps = [
            (pump, maps[path])
            for pump in site.pumps_on(bus)
            if (path := site.register_map_path(pump)) is not None
        ]
        if pumps:
            asked = bus.model_copy(update={"listen_first_s": 0.0}) if is_only_master else bus
            way = BusListener if bus.listen_only else BusPoller
            pollers.append((bus.name, way(asked, pumps, outbox, clock, stop)))
    return pollers


def _guarded(
    run: Callable[[], None], troubles: list[BaseException], stop: threading.Event
) -> Callable[[], None]:
    """Wrap a thread's work so that a fault of the program ends polling loudly instead of one bus silently."""

    def guarded() -> None:
        try:
            run()
        except BaseException as trouble:
            troubles.append(trouble)
            stop.set()

    return guarded


def _end(threads: list[threading.Thread], outbox: Outbox) -> None:
    begun_s = time.monotonic()
    for thread in threads:
        thread.join(max(0.0, begun_s + BUSES_STOP_WITHIN_S - time.monotonic()))
    outbox.close(begun_s + STOP_WITHIN_S - time.monotonic())
