"""One pump's readings out of what another master is answered by its drive."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

from collector.listening.exchanges import Exchange, Outcome
from collector.reading import Quality, Reading, Source, pack_quality
from collector.registers import Block, RegisterMap, decode_block
from collector.registers.register_map import Table

TABLE_OF: Final[dict[int, Table]] = {3: "holding", 4: "input"}
_WHY: Final = {
    Outcome.EXCEPTION: Quality.REFUSED,
    Outcome.NO_ANSWER: Quality.NO_REPLY,
    Outcome.DAMAGED: Quality.NO_REPLY,
}

Read = tuple[int, int, int]


@dataclass(slots=True)
class _Scan:
    """What one round of the other master has given so far."""

    reads: set[Read] = field(default_factory=set)
    values: dict[str, Any] = field(default_factory=dict)
    qualities: dict[str, Quality] = field(default_factory=dict)
    time_utc_ms: int = 0


class PumpEar:
    """Gathers a round of the other master into one reading.

    A round is over when it holds all that the last one held, or when one of its reads comes again. The
    reading's time is that of its last answer; a value is in one reading only, that of its own round. What
    the other master does not read is ``None``.
    """

    def __init__(self, pump: str, register_map: RegisterMap) -> None:
        self.pump = pump
        self._map = register_map
        self._blocks: dict[Read, Block | None] = {}
        self._scan = _Scan()
        self._last_round: set[Read] = set()

    def holds(self, read: Read) -> bool:
        """Return whether a read (function, zero-based address, count) covers any point of the map."""
        return self._block(read) is not None

    def take(self, exchange: Exchange, time_utc_ms: int) -> list[Reading]:
        """Take an exchange of this pump's unit, whose answer came at this time; return what is complete."""
        read = exchange.request.read
        block = self._block(read)
        if block is None:
            return []
        complete = self._end_round() if read in self._scan.reads else []
        self._note(read, block, exchange, time_utc_ms)
        if self._last_round and self._scan.reads >= self._last_round:
            complete += self._end_round()
        return complete

    def _note(self, read: Read, block: Block, exchange: Exchange, time_utc_ms: int) -> None:
        scan = self._scan
        scan.reads.add(read)
        if exchange.outcome is Outcome.ANSWERED and exchange.answer is not None:
            decoded = decode_block(block, exchange.answer.pdu[2:])
            scan.values.update(decoded.values)
            scan.time_utc_ms = time_utc_ms
            for point in block.points:
                scan.qualities[point.quantity.name] = decoded.qualities.get(point.quantity.name, Quality.GOOD)
        else:
            for point in block.points:
                scan.qualities.setdefault(point.quantity.name, _WHY[exchange.outcome])

    def finish(self) -> list[Reading]:
        """Return what the last round has given: no more of it is awaited."""
        return self._end_round()

    def _end_round(self) -> list[Reading]:
        scan, self._scan = self._scan, _Scan()
        self._last_round = scan.reads or self._last_round
        if not scan.time_utc_ms:
            return []
        return [
            Reading(
                pump=self.pump,
                time_utc_ms=scan.time_utc_ms,
                quality=pack_quality(scan.qualities) if scan.qualities else 0,
                source=Source.HEARD,
                **scan.values,
            )
        ]

    def _block(self, read: Read) -> Block | None:
        if read not in self._blocks:
            self._blocks[read] = self._covered(read)
        return self._blocks[read]

    def _covered(self, read: Read) -> Block | None:
        function, address, count = read
        table = TABLE_OF.get(function)
        points = tuple(
            point
            for point in self._map.points
            if point.table == table and address <= point.address and point.end <= address + count
        )
        if table is None or not points:
            return None
        return Block(table=table, address=address, count=count, points=points)
