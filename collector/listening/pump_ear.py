"""One pump's readings out of what another master is answered by its drive."""

from __future__ import annotations

import statistics
from collections import deque
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

LONGEST_ROUND_S: Final = 10.0
"""Values further apart are no one state of a pump; a bus is polled so often when nobody says otherwise."""
LITTLE_EARLY: Final = 0.9
"""A read that comes so much before its time is still the next one: nobody polls to the millisecond."""
PERIODS_KEPT: Final = 8

Read = tuple[int, int, int]


@dataclass(slots=True)
class _Scan:
    """What one round of the other master has given so far; ``begun_s`` is when it was first asked [s]."""

    begun_s: float
    reads: set[Read] = field(default_factory=set)
    values: dict[str, Any] = field(default_factory=dict)
    qualities: dict[str, Quality] = field(default_factory=dict)
    time_utc_ms: int = 0


class PumpEar:
    """Gathers a round of the other master into one reading.

    A round is over when it holds all that the last one held; when one of its reads or values comes again;
    and when it has lasted as long as its master takes from one round to the next, or ``LONGEST_ROUND_S``:
    where a part of a round was lost, what was left of it would else wait for the next one, and the speed of
    an hour ago be joined to the flow of now. The reading's time is that of its last answer; a value is in one
    reading only, that of its own round. What the other master does not read is ``None``.
    """

    def __init__(self, pump: str, register_map: RegisterMap) -> None:
        self.pump = pump
        self._map = register_map
        self._blocks: dict[Read, Block | None] = {}
        self._scan: _Scan | None = None
        self._last_round: set[Read] = set()
        self._fell_short = False
        self._asked_s: dict[Read, float] = {}
        self._periods_s: deque[float] = deque(maxlen=PERIODS_KEPT)

    def holds(self, read: Read) -> bool:
        """Return whether a read (function, zero-based address, count) covers any point of the map."""
        return self._block(read) is not None

    @property
    def longest_round_s(self) -> float:
        """How long a round may last [s]: the master's period, as far as it is known."""
        if not self._periods_s:
            return LONGEST_ROUND_S
        return min(LONGEST_ROUND_S, LITTLE_EARLY * statistics.median(self._periods_s))

    def take(self, exchange: Exchange, time_utc_ms: int) -> list[Reading]:
        """Take an exchange of this pump's unit, whose answer came at this time; return what is complete."""
        read = exchange.request.read
        block = self._block(read)
        if block is None:
            return []
        asked_s = exchange.request.ends_s
        self._note_period(read, asked_s)
        complete = self.wait(asked_s)
        if self._scan is not None and (read in self._scan.reads or self._is_again(block, exchange)):
            complete += self.finish()
        if self._scan is None:
            self._scan = _Scan(asked_s)
        self._note(self._scan, block, exchange, time_utc_ms)
        if self._last_round and self._scan.reads >= self._last_round:
            complete += self.finish()
        return complete

    def wait(self, now_s: float) -> list[Reading]:
        """Return the round that can have no more to come by this time of the line [s]."""
        is_over = self._scan is not None and now_s - self._scan.begun_s > self.longest_round_s
        return self.finish() if is_over else []

    def finish(self) -> list[Reading]:
        """Return what the round under way has given: no more of it is awaited."""
        scan, self._scan = self._scan, None
        if scan is None:
            return []
        self._note_round(scan.reads)
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

    def forget_periods(self) -> None:
        """Begin anew to learn how often the other master asks: nobody has listened for a while."""
        self._asked_s.clear()

    def _note_round(self, reads: set[Read]) -> None:
        """Learn what a round holds; a part that is missing once was lost, and is not given up at once."""
        fell_short = reads < self._last_round
        if not fell_short or self._fell_short:
            self._last_round = reads
        self._fell_short = fell_short and not self._fell_short

    def _note_period(self, read: Read, asked_s: float) -> None:
        before_s = self._asked_s.get(read)
        self._asked_s[read] = asked_s
        if before_s is not None:
            self._periods_s.append(asked_s - before_s)

    def _is_again(self, block: Block, exchange: Exchange) -> bool:
        """Return whether this answer holds a value that another read of the round has given already."""
        if self._scan is None or exchange.outcome is not Outcome.ANSWERED:
            return False
        return any(point.quantity.name in self._scan.values for point in block.points)

    @staticmethod
    def _note(scan: _Scan, block: Block, exchange: Exchange, time_utc_ms: int) -> None:
        scan.reads.add(exchange.request.read)
        if exchange.outcome is Outcome.ANSWERED and exchange.answer is not None:
            decoded = decode_block(block, exchange.answer.pdu[2:])
            scan.values.update(decoded.values)
            scan.time_utc_ms = time_utc_ms
            for point in block.points:
                scan.qualities[point.quantity.name] = decoded.qualities.get(point.quantity.name, Quality.GOOD)
        else:
            for point in block.points:
                scan.qualities.setdefault(point.quantity.name, _WHY[exchange.outcome])

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
