"""The hall as a process: history first, then drives that answer until the process is told to end.

It speaks in JSON lines on standard output, one event a line, so that a program can start it and know where
to find what. It ends at SIGTERM, at Ctrl-C, and when standard input closes: its parent is gone then.
"""

from __future__ import annotations

import json
import sys
import threading
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from simulator.drives import MAPS, Drive
from simulator.ending import told_to_end
from simulator.hall import BUSES, HallBus, HallPump, hall_pumps
from simulator.history import PumpHistory, write_histories
from simulator.lines import ModbusTcp, PacedLine, RtuOverTcp, SerialPort
from simulator.live import LiveRun, SimulatedClock
from simulator.plant import PumpPlant, build_pump

Line = ModbusTcp | RtuOverTcp | SerialPort


@dataclass(frozen=True, slots=True, kw_only=True)
class HallOptions:
    """What to run: ``folder`` is where the history goes, ``None`` for no history; times in ms UTC."""

    folder: Path | None
    start_utc_ms: int
    real_start_ms: int
    weeks: float
    speed_up: float
    seed: int
    live: bool = True
    held: bool = False
    """Stand at the beginning until the line ``begin REAL_START_MS`` comes on standard input."""


def run_hall(options: HallOptions) -> int:
    """Write the history, then answer until told to end; returns the exit code."""
    clock = SimulatedClock(
        options.start_utc_ms, None if options.held else options.real_start_ms, options.speed_up
    )
    to_end = told_to_end(lambda line: _heed(clock, line))
    pumps = hall_pumps(options.start_utc_ms)
    try:
        plants = _past(options, pumps)
    except OSError as error:
        print(f"simulator hall: {error.filename}: {error.strerror}", file=sys.stderr)
        return 1
    if options.live and not to_end.is_set():
        _live(clock, pumps, plants, to_end)
    return 0


def _past(options: HallOptions, pumps: Sequence[HallPump]) -> dict[str, PumpPlant]:
    """Return the plants as the history left them, or new ones."""
    if options.folder is None:
        return {pump.spec.name: build_pump(pump.spec, options.seed) for pump in pumps}
    histories = write_histories(pumps, options.folder, options.start_utc_ms, options.weeks, options.seed)
    files = {history.name: _file_of(history) for history in histories}
    _say({"event": "history", "folder": str(options.folder.resolve()), "files": files})
    return {history.name: history.plant for history in histories}


def _file_of(history: PumpHistory) -> dict[str, object]:
    columns = {column.heading: [column.quantity, column.unit] for column in history.columns}
    return {
        "file": history.file,
        "time": history.time_heading,
        "columns": [history.time_heading, *columns],
        "quantities": columns,
        "gauges": [asdict(reading) for reading in history.gauges],
    }


def _live(
    clock: SimulatedClock,
    pumps: Sequence[HallPump],
    plants: Mapping[str, PumpPlant],
    to_end: threading.Event,
) -> None:
    drives = {pump.spec.name: Drive(pump.unit_id, MAPS[pump.map]) for pump in pumps}
    run = LiveRun(plants, drives, clock)
    run.start()
    lines = {bus.name: _line(bus, [drives[p.spec.name] for p in pumps if p.bus == bus.name]) for bus in BUSES}
    for line in lines.values():
        line.start()
    _say(_listening(lines, pumps))
    # On Windows a wait without an end could not be interrupted.
    while not to_end.wait(0.5):
        pass
    for line in lines.values():
        line.stop()
    run.stop()


def _line(bus: HallBus, drives: Sequence[Drive]) -> Line:
    by_unit = {drive.unit_id: drive for drive in drives}
    if bus.kind == "tcp":
        return ModbusTcp(by_unit)
    # Windows has no pseudo-terminals: there the serial line stands behind a gateway.
    if bus.kind == "rtu_over_tcp" or sys.platform == "win32":
        return RtuOverTcp(PacedLine(by_unit, bus.baud))
    return SerialPort(PacedLine(by_unit, bus.baud))


def _listening(lines: Mapping[str, Line], pumps: Sequence[HallPump]) -> dict[str, object]:
    units = {pump.spec.name: {"bus": pump.bus, "unit_id": pump.unit_id, "map": pump.map} for pump in pumps}
    return {"event": "listening", "buses": [_bus(*item) for item in lines.items()], "units": units}


def _bus(name: str, line: Line) -> dict[str, object]:
    if isinstance(line, SerialPort):
        speed = {"baud": line.line.baud, "parity": "E", "stop_bits": 1}
        return {"name": name, "kind": "serial", "port": line.port, **speed}
    kind = "tcp" if isinstance(line, ModbusTcp) else "rtu_over_tcp"
    return {"name": name, "kind": kind, "host": line.host, "port": line.port}


def _say(event: Mapping[str, object]) -> None:
    print(json.dumps(event), flush=True)


def _heed(clock: SimulatedClock, line: bytes) -> None:
    word, _, number = line.decode("ascii", "replace").partition(" ")
    if word == "begin" and number.strip().isdecimal():
        clock.begin(int(number))
    elif line.strip():
        print(f"simulator hall: expected 'begin REAL_START_MS', got {line!r}", file=sys.stderr)
