"""Which registers a drive has, found with few requests, and reading them all as quickly as a line allows."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final, Protocol

from collector.bus import Damaged, NoReply, Refused
from collector.matching.places import Image
from collector.registers.register_map import BYTES_A_REGISTER, Table

ILLEGAL_FUNCTION, ILLEGAL_ADDRESS, ILLEGAL_COUNT = 1, 2, 3
BUSY: Final = frozenset({5, 6})
"""Exceptions after which the same request may be answered (application protocol V1.1b3, 7; from memory)."""
LARGEST_BLOCK: Final = 125
_TRIES: Final = 3
_PAUSES_S: Final = (0.1, 0.3, 1.0, 2.0)
"""How long a busy drive is left alone before each further try (common practice)."""
PATIENCE_S: Final = 20.0
"""How long all busy answers of one search may keep it waiting [s]: a drive may be busy for good."""

News = Callable[[str], None]


def _no_news(_: str) -> None:
    """Nobody wants to know."""


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


@dataclass(slots=True)
class Patience:
    """The waiting that is left for a busy drive [s], and what waits: ``time.sleep``, or a test's own."""

    left_s: float = PATIENCE_S
    sleep: Callable[[float], None] = field(default=time.sleep)

    def waits(self, tries: int) -> bool:
        """Wait before one more try, if it is worth one."""
        if tries >= len(_PAUSES_S) or _PAUSES_S[tries] > self.left_s:
            return False
        self.left_s -= _PAUSES_S[tries]
        self.sleep(_PAUSES_S[tries])
        return True


def find_layout(
    bus: Reads,
    unit: int,
    tables: Sequence[Table],
    first: int,
    last: int,
    news: News = _no_news,
    *,
    told: News = _no_news,
    patience: Patience | None = None,
) -> tuple[Stretch, ...]:
    """Return the stretches of registers that a drive has between two zero-based addresses, both included.

    A stretch that is refused is halved; behind a hole it is doubled again. So a run of registers costs twice
    the logarithm of its length in requests, and an address that is not there two (a drive may refuse half
    of a 32-bit value, so two registers are asked for before one). What a drive is busy with is no hole: it is
    asked for again, at last behind everything else, and ``told`` hears what stayed busy.

    Raises
    ------
    NothingToRead
        When the drive refuses every address of every table, or stays busy.
    BusError
        When a read got no answer three times in a row.
    """
    search = _Search(bus=bus, unit=unit, news=news, patience=patience or Patience())
    found = [stretch for table in tables for stretch in search.stretches(table, first, last + 1)]
    found += search.once_more()
    for stretch in _runs(search.busy):
        told(f"unit {unit} stayed busy at {_range(stretch)}, left out: look again later")
    if not found:
        where = " and ".join(tables)
        kept = "stays busy" if search.busy else f"has no {where} register from {first} to {last}"
        raise NothingToRead(f"unit {unit} answers, but {kept}")
    return tuple(_joined(sorted(found, key=lambda each: (tables.index(each.table), each.address))))


def read_image(bus: Reads, unit: int, layout: Sequence[Stretch]) -> Image:
    """Read every register of a layout once."""
    image: dict[tuple[Table, int], int] = {}
    patience = Patience()
    for stretch in layout:
        data = _asked(bus, unit, stretch, patience)
        for place in range(stretch.count):
            start = place * BYTES_A_REGISTER
            image[(stretch.table, stretch.address + place)] = int.from_bytes(data[start : start + 2], "big")
    return image


@dataclass(slots=True, kw_only=True)
class _Search:
    """One search of a drive; ``busy`` holds what it has been busy with so far."""

    bus: Reads
    unit: int
    news: News
    patience: Patience
    busy: list[Stretch] = field(default_factory=list)

    def stretches(self, table: Table, first: int, end: int, *, parts: bool = False) -> list[Stretch]:
        """Return what there is of a table from one address up to another.

        What the drive is busy with is put off whole; or in parts, so that one busy register hides no other.
        """
        found: list[Stretch] = []
        address, count, largest = first, LARGEST_BLOCK, LARGEST_BLOCK
        while address < end:
            self.news(f"looking for registers: {table} {address} of {first} to {end - 1}")
            asked = Stretch(table=table, address=address, count=min(count, largest, end - address))
            refusal = self._refusal(asked)
            if refusal in BUSY and not (parts and asked.count > 1):
                self.busy.append(asked)
                address, count = address + asked.count, 2 if parts else count
            elif refusal is None:
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

    def once_more(self) -> list[Stretch]:
        """Return what there is of all that the drive was busy with before."""
        before, self.busy = self.busy, []
        return [
            found
            for stretch in before
            for found in self.stretches(
                stretch.table, stretch.address, stretch.address + stretch.count, parts=True
            )
        ]

    def _refusal(self, asked: Stretch) -> int | None:
        """Return the exception code of a refused read, or None for an answered one."""
        try:
            _asked(self.bus, self.unit, asked, self.patience)
        except Refused as error:
            return error.exception_code
        return None


def _asked(bus: Reads, unit: int, stretch: Stretch, patience: Patience) -> bytes:
    """Read, again when a disturbed line was in the way, and after a while when the drive was busy."""
    failed = waited = 0
    while True:
        try:
            return bus.read_registers(unit, stretch.table, stretch.address, stretch.count)
        except (NoReply, Damaged):
            failed += 1
            if failed == _TRIES:
                raise
        except Refused as error:
            if error.exception_code in BUSY:
                if not patience.waits(waited):
                    raise
                waited += 1
                continue
            failed += 1
            if error.certain or failed == _TRIES:
                raise


def _runs(stretches: Sequence[Stretch]) -> list[Stretch]:
    """Join neighbours, whatever their length."""
    runs: list[Stretch] = []
    for each in stretches:
        last = runs[-1] if runs else None
        if last is not None and (last.table, last.address + last.count) == (each.table, each.address):
            runs[-1] = Stretch(table=last.table, address=last.address, count=last.count + each.count)
        else:
            runs.append(each)
    return runs


def _range(stretch: Stretch) -> str:
    last = stretch.address + stretch.count - 1
    return f"{stretch.table} {stretch.address}" + (f" to {last}" if last > stretch.address else "")


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


def requests_at_most(tables: int, addresses: int) -> int:
    """Return how many requests a search of so many tables takes at most [-].

    Every second address missing is the worst: two are refused, one answers, one is refused; and halving the
    first request takes its logarithm.

    >>> requests_at_most(2, 256)
    1044
    """
    return tables * (2 * addresses + 2 * (LARGEST_BLOCK.bit_length() - 2))
