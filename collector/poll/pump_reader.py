"""Reading one pump: all its blocks, what the drive refuses, and one reading out of it."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import Any, Final, Protocol

from collector.bus import BusError, NoLink, Refused
from collector.bus.pdu import RegisterTable
from collector.clock import Clock
from collector.reading import PollFailure, Quality, Reading, pack_quality
from collector.registers import Block, RegisterMap, decode_block, plan_blocks, split_block

NO_SUCH_REGISTER: Final = 2
MOST_SCANS_SKIPPED: Final = 32
"""A block that fails while others of the drive answer is asked again after 1, 2, 4 ... scans, 32 at most."""

REJOIN_AFTER_S: Final = 3600.0
"""Blocks that were divided are asked whole again after so long, by the clock of the site: a drive that has
been set up or updated since may have the register, and one wrong refusal must not cost line time for good."""


class Registers(Protocol):
    """Where registers are read: a bus, or a bus whose reads are counted."""

    def read_registers(
        self, unit: int, table: RegisterTable, address: int, count: int, whole_counts: tuple[int, ...] = ()
    ) -> bytes:
        """Return two bytes a register, or raise one of the bus errors."""


@dataclass(slots=True)
class _Asked:
    """A block and how it has fared."""

    block: Block
    skip: int = 0
    penalty: int = 0
    why: Quality = Quality.NO_REPLY
    whole_counts: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        self.whole_counts = _whole_counts(self.block)


class PumpReader:
    """Reads a pump by its register map and remembers which blocks its drive will not answer."""

    def __init__(self, pump: str, unit: int, register_map: RegisterMap) -> None:
        self.pump = pump
        self.unit = unit
        self._plan = plan_blocks(register_map)
        self._asked = [_Asked(block) for block in self._plan]
        self._first = 0
        self._divided_s: float | None = None

    def read(self, bus: Registers, clock: Clock) -> Reading | PollFailure:
        """Read every block that is due and return one reading, or why there is none.

        The reading's time is when its last answer came. After the first block that gives no reply the rest
        is left out: a drive that is off costs one time-out, not one a block.
        """
        self._rejoin_when_due(clock)
        scan = _Scan(self.pump)
        turns = self._asked[self._first :] + self._asked[: self._first]
        while turns:
            asked = turns.pop(0)
            if asked.skip:
                asked.skip -= 1
                scan.miss(asked.block, asked.why)
            elif scan.silent:
                scan.miss(asked.block, Quality.NO_REPLY)
            else:
                turns[:0] = self._read_block(asked, bus, clock, scan)
        if not scan.answered and scan.silent:
            # Another block first next time: one that is never answered must not hide those that would be.
            self._first = (self._first + 1) % len(self._asked)
        return scan.result(clock)

    def _rejoin_when_due(self, clock: Clock) -> None:
        waited_s = time.monotonic() - (self._divided_s or 0.0)
        if self._divided_s is not None and waited_s >= clock.real_seconds(REJOIN_AFTER_S):
            self._asked = [_Asked(block) for block in self._plan]
            self._first = 0
            self._divided_s = None

    def _read_block(self, asked: _Asked, bus: Registers, clock: Clock, scan: _Scan) -> list[_Asked]:
        """Read one block into the scan; return the smaller blocks to read instead when it was refused."""
        block = asked.block
        try:
            data = bus.read_registers(self.unit, block.table, block.address, block.count, asked.whole_counts)
        except Refused as error:
            return self._refused(asked, error, scan)
        except BusError as error:
            scan.silent = error
            self._put_off(asked, Quality.NO_REPLY, scan)
            return []
        asked.penalty = 0
        scan.take(block, data, clock.now_utc_ms())
        return []

    def _refused(self, asked: _Asked, error: Refused, scan: _Scan) -> list[_Asked]:
        parts: tuple[Block, ...] = ()
        if error.exception_code == NO_SUCH_REGISTER and error.certain:
            parts = split_block(asked.block)
        if parts:
            smaller = [_Asked(part) for part in parts]
            place = self._asked.index(asked)
            self._asked[place : place + 1] = smaller
            self._divided_s = self._divided_s or time.monotonic()
            return smaller
        scan.refusal = error
        self._put_off(asked, Quality.REFUSED, scan)
        return []

    def _put_off(self, asked: _Asked, why: Quality, scan: _Scan) -> None:
        asked.why = why
        scan.miss(asked.block, why)
        scan.trouble.append(asked)


class _Scan:
    """What one scan of a pump has given so far."""

    def __init__(self, pump: str) -> None:
        self._pump = pump
        self._values: dict[str, Any] = {}
        self._qualities: dict[str, Quality] = {}
        self._time_utc_ms = 0
        self.answered = False
        self.silent: BusError | None = None
        self.refusal: Refused | None = None
        self.trouble: list[_Asked] = []

    def take(self, block: Block, data: bytes, time_utc_ms: int) -> None:
        decoded = decode_block(block, data)
        self._values.update(decoded.values)
        self._qualities.update(decoded.qualities)
        self._time_utc_ms = time_utc_ms
        self.answered = True

    def miss(self, block: Block, why: Quality) -> None:
        self._qualities.update({point.quantity.name: why for point in block.points})

    def result(self, clock: Clock) -> Reading | PollFailure:
        error = self.silent or self.refusal
        if not self.answered and error is not None:
            return PollFailure(
                pump=self._pump, time_utc_ms=clock.now_utc_ms(), kind=error.kind, sentence=str(error)
            )
        for asked in self.trouble:
            asked.penalty = min(max(1, 2 * asked.penalty), MOST_SCANS_SKIPPED)
            asked.skip = asked.penalty
        quality = pack_quality(self._qualities) if self._qualities else 0
        return Reading(pump=self._pump, time_utc_ms=self._time_utc_ms, quality=quality, **self._values)


def _whole_counts(block: Block) -> tuple[int, ...]:
    """Return after how many registers the block can be cut without cutting a point."""
    ends = sorted({point.end for point in block.points if point.end < block.address + block.count})
    return tuple(
        end - block.address
        for end in ends
        if not any(point.address < end < point.end for point in block.points)
    )


def is_no_link(result: Reading | PollFailure) -> bool:
    """Return whether the bus itself was away, so that asking its other pumps is no use."""
    return isinstance(result, PollFailure) and result.kind is NoLink.kind
