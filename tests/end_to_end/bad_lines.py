"""Lines that go wrong in every known way, drives that remember what they held, and a poll of them.

A real pseudo-terminal, serial frames over a real socket, and a real network connection. The serial ones lose
bytes, damage them and add noise; all answer late, short, for another drive, with another function, with an
exception or not at all. The drives code their answers with the pymodbus library, the collector decodes with
its own.

Every request finds other values in the registers that it asks for, so a stored value must be what the
drive held at the last request for it: an answer taken for its successor's is wrong here even when it is
sound and complete. Real drives answer in order and answer one request at a time; so do these.
"""

from __future__ import annotations

import random
import threading
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from pymodbus.pdu import ModbusPDU

from collector.clock import Clock
from collector.poll import poll_site
from collector.quantities import QUANTITY_NAMES, quantity
from collector.reading import FailureKind, PollFailure, Reading
from collector.site import load_site
from collector.store import Store, open_store
from collector.units import UNITS
from simulator.drives import MAPS, Drive, Register
from simulator.lines import Disturbance, ModbusTcp, PacedLine, RtuOverTcp, SerialPort

BAUD = 921_600
TIMEOUT_S = 0.015
AT_ONCE_S, PACED_S = 5, 35
# Later than the site file says: then the order of a drive's answers alone must keep old values out.
LATE_S, LATE_REPLY_S = 0.1, 0.03
# Intervals are by this clock: 5 s are 5 ms, so that a line's scans follow each other without a pause.
CLOCK = Clock(simulated_start_ms=1_700_000_000_000, real_start_ms=0, speed_up=1000)
MAPS_OF_USER = Path(__file__).parents[2] / "api" / "demo" / "maps"
# One or two blocks a drive: most of a scan is the line's silences, and further blocks more of the same.
COUNTERS = {"energy_kwh", "run_time_h", "starts"}
STATE = {"status_word", "fault_code"}
NOT_READ = {
    "A": {*STATE, "speed_rpm", "speed_command_pct", "power_w", "current_a"},
    "B": STATE | COUNTERS,
    "D": STATE | COUNTERS,
    "E": {*STATE, "fluid_temperature_c", "speed_command_pct"},
}
SHARE = 0.006
"""Of the answers, what each kind of disturbance befalls unless a trial says otherwise."""
KINDS = ["late", "short", "foreign", "wrong_function", "exception", "silence"]
KINDS_OF_LINE = {
    "serial": [*KINDS, "noise", "lost_byte", "damaged_byte"],
    "gateway": [*KINDS, "noise", "lost_byte", "damaged_byte"],
    "network": [*KINDS, "split"],
}

LARGEST_RAW = {"u16": 60_000, "i16": 30_000, "u32": 2**31, "i32": 2**30, "f32": 2**20}
"""Below every "no reading" pattern, and exact in each type."""


class TruthfulDrive(Drive):
    """A drive whose registers change with every request for them, and that remembers when they held what."""

    def __init__(self, unit_id: int, letter: str) -> None:
        super().__init__(unit_id, MAPS[letter], turn_around_s=0.0005)
        self._random = random.Random(unit_id)
        self._now: dict[str, float] = {}
        self._times_ms: dict[str, list[int]] = {name: [] for name in QUANTITY_NAMES}
        self._values: dict[str, list[float]] = {name: [] for name in QUANTITY_NAMES}
        self.show({register.quantity: 0.0 for register in self.map.registers})

    def answer(self, request: ModbusPDU) -> ModbusPDU | None:
        now_ms = CLOCK.now_utc_ms()
        for register in self.map.registers:
            if request.address <= register.address < request.address + request.count:
                self._now[register.quantity] = value = self._another_value(register)
                self._times_ms[register.quantity].append(now_ms)
                self._values[register.quantity].append(value)
        self.show(self._now)
        return super().answer(request)

    def held(self, quantity: str, time_utc_ms: int) -> float | None:
        """Return what the last request for it before a time found, ``None`` if there was none."""
        place = bisect_right(self._times_ms[quantity], time_utc_ms)
        return self._values[quantity][place - 1] if place else None

    def _another_value(self, register: Register) -> float:
        """Return a value that the register's type holds exactly, in the unit of our name."""
        known = UNITS[register.unit]
        step = 0.125 if register.type == "f32" else register.scale
        plausible = (quantity(register.quantity).highest - known.offset) / known.factor / step
        raw = self._random.randrange(1, int(min(plausible, LARGEST_RAW[register.type])))
        return raw * step * known.factor + known.offset


class CountingSink:
    """Keeps readings in a real database, counts scans by bus, and ends the poll when each has enough."""

    def __init__(self, store: Store, buses: Mapping[str, str], scans: int, stop: threading.Event) -> None:
        self.scans: Counter[str] = Counter()
        self.failures: Counter[str] = Counter()
        self._inner = store.as_sink()
        self._buses = buses
        self._enough = scans
        self._stop = stop

    def append(self, readings: Sequence[Reading]) -> None:
        self._inner.append(readings)
        self._count([reading.pump for reading in readings])

    def failed(self, failures: Sequence[PollFailure]) -> None:
        self._inner.failed(failures)
        self.failures.update(f"{self._buses[failure.pump]} {failure.kind}" for failure in failures)
        # While there is no connection nothing is asked, and so nothing is scanned.
        self._count([f.pump for f in failures if f.kind is not FailureKind.NO_LINK])

    def _count(self, pumps: list[str]) -> None:
        self.scans.update(self._buses[pump] for pump in pumps)
        if all(self.scans[bus] >= self._enough for bus in set(self._buses.values())):
            self._stop.set()


Line = ModbusTcp | RtuOverTcp | SerialPort
Drives = dict[str, tuple[str, TruthfulDrive]]
"""By pump: its bus and its drive."""


def drives_on(bus: str, letters: str = "ABDE") -> Drives:
    units = {"A": 3, "B": 7, "D": 12, "E": 40}
    return {f"{bus}_{letter}": (bus, TruthfulDrive(units[letter], letter)) for letter in letters}


@contextmanager
def answering(drives: Drives, wires: Disturbance, network: Disturbance) -> Iterator[dict[str, Line]]:
    """Run the lines that the drives are on."""

    def on(bus: str) -> dict[int, Drive]:
        return {drive.unit_id: drive for name, drive in drives.values() if name == bus}

    kinds: dict[str, Callable[[], Line]] = {
        "serial": lambda: SerialPort(PacedLine(on("serial"), BAUD, wires, seed=1)),
        "gateway": lambda: RtuOverTcp(PacedLine(on("gateway"), BAUD, wires, seed=2)),
        "network": lambda: ModbusTcp(on("network"), network, seed=3),
    }
    lines = {bus: kinds[bus]() for bus in sorted({bus for bus, _ in drives.values()})}
    for line in lines.values():
        line.start()
    yield lines
    for line in lines.values():
        line.stop()


def write_map(folder: Path, letter: str) -> Path:
    """Write the user's own map of a drive, without the quantities that this user does not read."""
    whole = (MAPS_OF_USER / f"{letter.lower()}.toml").read_text(encoding="utf-8")
    kept = [line for line in whole.splitlines() if line.split(" ")[0] not in NOT_READ[letter]]
    path = folder / f"{letter}.toml"
    path.write_text("\n".join(kept), encoding="utf-8")
    return path


def write_site(folder: Path, buses: Mapping[str, dict[str, Any]], drives: Drives) -> Path:
    parts = ['[site]\nname = "Bad lines"\ntime_zone = "UTC"\n']
    for name, address in buses.items():
        words = [f"{key} = {value!r}".replace("'", '"') for key, value in address.items()]
        parts.append("\n".join(["[[bus]]", f'name = "{name}"', *words, ""]))
    for name, (bus, drive) in drives.items():
        path = write_map(folder, drive.map.name)
        parts.append(
            f'[[pump]]\nname = "{name}"\nbus = "{bus}"\nunit_id = {drive.unit_id}\nregister_map = "{path}"\n'
        )
    path = folder / "site.toml"
    path.write_text("\n".join(parts), encoding="utf-8")
    return path


def place_of(line: Line) -> dict[str, Any]:
    if isinstance(line, SerialPort):
        return {"kind": "serial", "port": line.port, "baud": BAUD}
    where = {"host": "127.0.0.1", "port": line.port}
    return (
        {"kind": "tcp", **where}
        if isinstance(line, ModbusTcp)
        else {"kind": "rtu_over_tcp", "baud": BAUD, **where}
    )


def poll(folder: Path, lines: Mapping[str, Line], drives: Drives, scans: int) -> CountingSink:
    """Poll into a real database until each line has had so many scans."""
    waits = {"timeout_s": TIMEOUT_S, "late_reply_s": LATE_REPLY_S}
    buses = {
        bus: {**place_of(line), **waits, "interval_s": PACED_S if bus == "network" else AT_ONCE_S}
        for bus, line in lines.items()
    }
    site = load_site(write_site(folder, buses, drives))
    store = open_store(site.database_url)
    stop = threading.Event()
    sink = CountingSink(store, {name: bus for name, (bus, _) in drives.items()}, scans, stop)
    try:
        poll_site(site, sink, CLOCK, stop, is_only_master=True)
    finally:
        store.close()
    return sink


class Stored:
    """What the database holds, against what the drives held."""

    def __init__(self, folder: Path, drives: Drives) -> None:
        self.readings: Counter[str] = Counter()
        self.values: Counter[str] = Counter()
        self.wrong: list[str] = []
        store = open_store(f"sqlite:///{folder / 'site.sqlite'}")
        for pump, (bus, drive) in drives.items():
            for time_utc_ms, *values in store.rows(pump, 0, 2**62):
                self.readings[bus] += 1
                stored = dict(zip(QUANTITY_NAMES, values, strict=True))
                self._compare(pump, bus, drive, time_utc_ms, stored)
        store.close()

    def _compare(
        self, pump: str, bus: str, drive: TruthfulDrive, time_utc_ms: int, stored: Mapping[str, float | None]
    ) -> None:
        for name, value in stored.items():
            if value is None:
                continue
            self.values[bus] += 1
            held = drive.held(name, time_utc_ms)
            if held is None or value != pytest.approx(held, rel=1e-6, abs=1e-6):
                self.wrong.append(f"{pump} at {time_utc_ms}: {name} is {value}, the drive held {held}")


def done_on(line: Line) -> dict[str, int]:
    return dict(line.trouble.done if isinstance(line, ModbusTcp) else line.line.trouble.done)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What came of polling three bad lines; each count is by bus."""

    scans: Counter[str]
    failures: Counter[str]
    done: Mapping[str, Mapping[str, int]]
    stored: Stored

    def rare_kinds(self, at_least: int) -> dict[str, list[str]]:
        """Return the kinds of disturbance that a line did less often than so."""
        return {
            bus: rare
            for bus, kinds in KINDS_OF_LINE.items()
            if (rare := [kind for kind in kinds if self.done[bus].get(kind, 0) < at_least])
        }

    def in_words(self) -> str:
        return (
            f"scans {dict(self.scans)}, without any value {dict(self.failures)}\n"
            f"readings stored {dict(self.stored.readings)}, values compared {dict(self.stored.values)}\n"
            f"done to answers {dict(self.done)}\n"
            f"wrong values {len(self.stored.wrong)}"
        )


def try_bad_lines(folder: Path, scans: int, share: float = SHARE) -> Trial:
    """Poll all three lines at once until each has had so many scans, then look at what was stored."""
    strange = Disturbance(late_s=LATE_S, **dict.fromkeys(KINDS, share))
    bad_wires = replace(strange, noise=share, lost_byte=share, damaged_byte=share)
    drives = drives_on("serial") | drives_on("gateway") | drives_on("network")
    with answering(drives, bad_wires, replace(strange, split=share)) as lines:
        sink = poll(folder, lines, drives, scans)
        done = {bus: done_on(line) for bus, line in lines.items()}
    return Trial(scans=sink.scans, failures=sink.failures, done=done, stored=Stored(folder, drives))
