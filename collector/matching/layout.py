"""Which registers a drive has, found with few requests, and reading them all as quickly as a line allows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Protocol

from collector.bus import Damaged, NoReply, Refused
from collector.matching.places import Image
from collector.registers.register_map import BYTES_A_REGISTER, Table

ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_COUNT = 1, 2, 3
BUSY: Final = frozenset({5, 6})
"""Exceptions after which the same request may be answered (application protocol V1.1b3, 7; from memory)."""
LARGEST_BLOCK: Final = 125
_TRIES: Final = 3

News = Callable[[str], None]


class Reads(Protocol):
    """What is needed of a bus: ``collector.bus.ReadOnlyBus`` is one."""

    def read_registers(self, unit: int, table: Table, address: int, count: int) -> bytes:
        """Read registers from a zero-based address, two bytes each."""


class NothingToRead(Exception):
    """The drive answers, but has no register in the range; one line that says so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Registers that are read by one request."""

    table: Table
    address: int
    count: int


def find_layout(
    bus: Reads, unit: int, tables: Sequence[Table], first: int, last: int, news: News = lambda _: None
) -> tuple[Stretch, ...]:
    """Return the stretches of registers that a drive has between two zero-based addresses, both included.

    A stretch that is refused is halved; behind a hole it is doubled again. So a run of registers costs twice
    the logarithm of its length in requests, and an address that is not there two (a drive may refuse half
    of a 32-bit value, so two registers are asked for before one).

    Raises
    ------
    NothingToRead
        When the drive refuses every address of every table.
    BusError
        When a read got no answer three times in a row.
    """
    found = [stretch for table in tables for stretch in _stretches(bus, unit, table, first, last + 1, news)]
    if not found:
        where = " and ".join(tables)
        raise NothingToRead(f"unit {unit} answers, but has no {where} register from {first} to {last}")
    return tuple(_joined(found))


def read_image(bus: Reads, unit: int, layout: Sequence[Stretch]) -> Image:
    """Read every register of a layout once."""
    image: dict[tuple[Table, int], int] = {}
    for stretch in layout:
        data = _asked(bus, unit, stretch)
        for place in range(stretch.count):
            start = place * BYTES_A_REGISTER
            image[(stretch.table, stretch.address + place)] = int.from_bytes(data[start : start + 2], "big")
    return image


def _stretches(bus: Reads, unit: int, table: Table, first: int, end: int, news: News) -> list[Stretch]:
    found: list[Stretch] = []
    address, count, largest = first, LARGEST_BLOCK, LARGEST_BLOCK
    while address < end:
        news(f"looking for registers: {table} {address}")
        asked = Stretch(table=table, address=address, count=min(count, largest, end - address))
        refusal = _refusal(bus, unit, asked)
        if refusal is None:
            found.append(asked)
            address, count = address + asked.count, count * 2
        elif refusal == ILLEGAL_FUNCTION:
            break
        elif asked.count > 1:
            count = asked.count // 2
            largest = count if refusal == ILLEGAL_COUNT else largest
        else:
            # Two were refused before this one; behind the hole two are asked for again.
            address, count = address + 1, 2
    return found


def _refusal(bus: Reads, unit: int, asked: Stretch) -> int | None:
    """Return the exception code of a refused read, or None for an answered one."""
    try:
        _asked(bus, unit, asked)
    except Refused as error:
        return error.exception_code
    return None


def _asked(bus: Reads, unit: int, stretch: Stretch) -> bytes:
    """Read, again when a disturbed line or a busy drive was in the way."""
    for left in reversed(range(_TRIES)):
        try:
            return bus.read_registers(unit, stretch.table, stretch.address, stretch.count)
        except (NoReply, Damaged):
            if not left:
                raise
        except Refused as error:
            if not left or (error.exception_code not in BUSY and error.certain):
                raise
    raise AssertionError("the last try answers or raises")


def _joined(found: Sequence[Stretch]) -> list[Stretch]:
    """Join neighbours: what was read in parts is read at once from now on, as far as the drive allows."""
    largest = {stretch.table: 0 for stretch in found}
    for stretch in found:
        largest[stretch.table] = max(largest[stretch.table], stretch.count)
    joined: list[Stretch] = []
    for stretch in found:
        last = joined[-1] if joined else None
        touches = last is not None and (last.table, last.address + last.count) == (
            stretch.table,
            stretch.address,
        )
        if last is not None and touches and last.count + stretch.count <= largest[stretch.table]:
            joined[-1] = Stretch(table=last.table, address=last.address, count=last.count + stretch.count)
        else:
            joined.append(stretch)
    return joined
