"""Looking at the pumps of one bus by reading their drives: once, or again and again for a while."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from api.proving.proof import Verdict
from api.proving.prove import prove
from api.proving.samples import Sample
from api.proving.stated import Stated
from api.proving.typed_map import TypedMap
from collector.bus import BusError, ReadOnlyBus, RegisterTable
from collector.clock import Clock
from collector.poll.pump_reader import PumpReader
from collector.reading import PollFailure, Quality, Reading, unpack_quality
from collector.registers import Point, RegisterMap
from collector.registers.register_map import BYTES_A_REGISTER, Table
from collector.site import Bus, Pump

LEAST_WAIT_S: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A pump to look at, by the map that is to be proven."""

    pump: Pump
    register_map: RegisterMap
    typed: TypedMap
    stated: Stated


@dataclass(slots=True)
class Look:
    """What came of looking at a pump: samples in order of time, and why there are none."""

    samples: list[Sample] = field(default_factory=list)
    troubles: list[PollFailure] = field(default_factory=list)


class _NotingBus(ReadOnlyBus):
    """A bus that remembers the registers it read, so that they can be read another way."""

    def __init__(self, bus: Bus) -> None:
        super().__init__(bus)
        self.words: dict[tuple[Table, int], bytes] = {}

    def read_registers(
        self, unit: int, table: RegisterTable, address: int, count: int, whole_counts: tuple[int, ...] = ()
    ) -> bytes:
        data = super().read_registers(unit, table, address, count, whole_counts)
        for place in range(count):
            start = place * BYTES_A_REGISTER
            self.words[(table, address + place)] = data[start : start + BYTES_A_REGISTER]
        return data


def look_at_bus(
    bus: Bus,
    wanted: Sequence[Wanted],
    seconds: float,
    stop: threading.Event,
    news: Callable[[str], None] = lambda words: None,
    clock: Clock | None = None,
) -> Mapping[str, Look]:
    """Read each pump once, and again every interval of the bus until so many seconds have passed.

    Of a pump of which something does not hold, the registers beside each point are read as well: they show
    whether the map counts from the wrong end. Only reads leave, as in polling. Ends early at ``stop``.
    """
    clock = clock or Clock()
    looks = {each.pump.name: Look() for each in wanted}
    readers = {each.pump.name: _reader(each) for each in wanted}
    doubtful: set[str] = set()
    end_ms = clock.now_utc_ms() + round(seconds * 1000)
    line = _NotingBus(bus)
    with line:
        while not stop.is_set():
            for each in wanted:
                news(_so_far(each.pump.name, len(looks[each.pump.name].samples), end_ms - clock.now_utc_ms()))
                _look(each, readers[each.pump.name], line, clock, looks[each.pump.name], doubtful)
            left_s = (end_ms - clock.now_utc_ms()) / 1000
            if left_s <= 0:
                break
            stop.wait(max(LEAST_WAIT_S, min(bus.interval_s, left_s)))
    return looks


def _so_far(pump: str, times: int, left_ms: int) -> str:
    left = f", {-(-left_ms // 60_000)} min left" if left_ms > 0 else ""
    return f"reading {pump}: {times} times so far{left}"


def _reader(wanted: Wanted) -> PumpReader:
    return PumpReader(wanted.pump.name, wanted.pump.unit_id or 0, wanted.register_map)


def _look(
    wanted: Wanted, reader: PumpReader, line: _NotingBus, clock: Clock, look: Look, doubtful: set[str]
) -> None:
    name = wanted.pump.name
    result = _read(wanted, reader, line, clock, with_neighbours=name in doubtful)
    if isinstance(result, PollFailure):
        look.troubles.append(result)
        return
    if name not in doubtful and _is_doubtful(wanted, result):
        doubtful.add(name)
        again = _read(wanted, reader, line, clock, with_neighbours=True)
        result = again if isinstance(again, Sample) else result
    look.samples.append(result)


def _read(
    wanted: Wanted, reader: PumpReader, line: _NotingBus, clock: Clock, *, with_neighbours: bool
) -> Sample | PollFailure:
    line.words = {}
    result = reader.read(line, clock)
    if isinstance(result, PollFailure):
        return result
    if with_neighbours:
        for point in wanted.register_map.points:
            _read_around(reader.unit, point, line)
    return _sample(result, line)


def _sample(reading: Reading, line: _NotingBus) -> Sample:
    qualities = unpack_quality(reading.quality)
    return Sample(
        time_utc_ms=reading.time_utc_ms,
        words=line.words,
        qualities={name: quality for name, quality in qualities.items() if quality is not Quality.GOOD},
    )


def _is_doubtful(wanted: Wanted, sample: Sample) -> bool:
    return any(
        proof.verdict is Verdict.CHANGE for proof in prove(wanted.typed, [sample], wanted.stated, "SI")
    )  # fmt: skip


def _read_around(unit: int, point: Point, line: _NotingBus) -> None:
    """Read what is not known yet of the registers of a point and of those beside it, one by one."""
    for address in range(max(0, point.address - 1), min(point.end, 0xFFFF) + 1):
        if (point.table, address) not in line.words:
            try:
                line.read_registers(unit, point.table, address, 1)
            except BusError:
                # A drive need not have it, and then the map does not count from there.
                continue
