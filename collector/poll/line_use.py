"""How a bus is used: counts by unit, closed each quarter of an hour; nothing is kept of a single request."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from collector.bus import BusError, ReadOnlyBus, Refused
from collector.bus.pdu import RegisterTable
from collector.clock import Clock
from collector.line_quarter import (
    LONG_ANSWER_BYTES,
    QUARTER_MS,
    REPLY_EDGES_S,
    LineQuarter,
    reply_class,
)
from collector.listening.exchanges import Exchange, Outcome
from collector.listening.frames import EXCEPTION_BYTES, READS
from collector.reading import FailureKind
from collector.site import Bus

FIRST_MS: Final = 60_000
"""The first part closes so soon after a start: who has just connected a line wants to see whether it is
sound. Each further part is as long as all before it together, until whole quarters are reached."""
_AROUND_DATA_BYTES: Final = 5
"""Unit, function, byte count and checksum of an answer on a serial line."""
_KIND_OF: Final = {
    Outcome.EXCEPTION: FailureKind.REFUSED,
    Outcome.DAMAGED: FailureKind.DAMAGED,
    Outcome.NO_ANSWER: FailureKind.NO_REPLY,
}


@dataclass(slots=True)
class _Unit:
    """What was counted of one unit since the last close."""

    busy_s: float = 0.0
    answers: int = 0
    long_answers: int = 0
    long_damaged: int = 0
    failed: dict[FailureKind, int] = field(default_factory=lambda: dict.fromkeys(FailureKind, 0))
    reply_times: list[int] = field(default_factory=lambda: [0] * (len(REPLY_EDGES_S) + 1))

    def replied(self, reply_s: float | None) -> None:
        if reply_s is not None:
            self.reply_times[reply_class(max(0.0, reply_s))] += 1


class LineUse:
    """Counts one bus, from the one thread that asks or hears. It is also the tap of what is asked."""

    def __init__(self, bus: Bus, clock: Clock) -> None:
        self._bus = bus.name
        # Behind a gateway the time on the line cannot be told from the drive's.
        self._character_s = bus.line_setting.character_s if bus.kind == "serial" else 0.0
        self._clock = clock
        self._units: dict[int, _Unit] = {}
        self._begun_ms = self._start_ms = clock.now_utc_ms()
        self._start_s = time.monotonic()
        self._end_ms = self._next_end_ms()
        self._sent_s: float | None = None
        self._sent_bytes = 0

    def sent(self, frame: bytes) -> None:
        """Note when a request was sent."""
        self._sent_s = time.monotonic()
        self._sent_bytes = len(frame)

    def came(self, data: bytes) -> None:
        """Do nothing: an answer is noted once it is whole."""

    def asks(self) -> float:
        """Note that a request begins; return the present instant of the monotonic clock [s]."""
        self._sent_s = None
        return time.monotonic()

    def answered(self, unit: int, answer_bytes: int, begun_s: float) -> None:
        """Count an answer to the request that began then."""
        now_s = time.monotonic()
        counts = self._of(unit)
        counts.busy_s += now_s - begun_s
        counts.answers += 1
        counts.long_answers += answer_bytes >= LONG_ANSWER_BYTES
        counts.replied(self._reply_s(now_s, answer_bytes))

    def failed(self, unit: int, error: BusError, answer_bytes: int, begun_s: float) -> None:
        """Count a request that gave no data."""
        if error.kind is FailureKind.NO_REPLY and self._sent_s is None:
            return  # Left out while late answers run dry: nothing was asked.
        now_s = time.monotonic()
        counts = self._of(unit)
        counts.failed[error.kind] += 1
        if error.kind is FailureKind.NO_LINK:
            return
        counts.busy_s += now_s - begun_s
        counts.long_damaged += error.kind is FailureKind.DAMAGED and answer_bytes >= LONG_ANSWER_BYTES
        if isinstance(error, Refused) and error.certain:
            counts.replied(self._reply_s(now_s, EXCEPTION_BYTES))

    def away(self, unit: int) -> None:
        """Count that the port was away when a unit should have been heard."""
        self._of(unit).failed[FailureKind.NO_LINK] += 1

    def heard(self, exchange: Exchange) -> None:
        """Count what another master asked and what became of it."""
        request, answer = exchange.request, exchange.answer
        counts = self._of(request.unit)
        is_read = request.function in READS
        is_long = is_read and _AROUND_DATA_BYTES + request.answer_shape[1] >= LONG_ANSWER_BYTES
        counts.busy_s += (request.end - request.start) * self._character_s
        if answer is not None:
            counts.busy_s += max(0.0, answer.ends_s - request.ends_s)
            counts.replied(exchange.turn_around_s(self._character_s))
        if exchange.outcome is Outcome.ANSWERED:
            counts.answers += 1
            counts.long_answers += is_long
        else:
            counts.failed[_KIND_OF[exchange.outcome]] += 1
            counts.long_damaged += is_long and exchange.outcome is Outcome.DAMAGED

    def closed(self) -> list[LineQuarter]:
        """Return the counts when their time is over, else nothing; then counting begins anew."""
        now_ms = self._clock.now_utc_ms()
        return [] if self._start_ms <= now_ms < self._end_ms else self._close(now_ms)

    def last(self) -> list[LineQuarter]:
        """Return what is counted so far, at a stop."""
        return self._close(self._clock.now_utc_ms())

    def _close(self, now_ms: int) -> list[LineQuarter]:
        now_s = time.monotonic()
        quarters = list(self._quarters(max(now_ms, self._start_ms + 1), now_s - self._start_s))
        self._units = {}
        self._start_ms, self._start_s = now_ms, now_s
        self._begun_ms = min(self._begun_ms, now_ms)
        self._end_ms = self._next_end_ms()
        return quarters

    def _quarters(self, end_ms: int, watched_s: float) -> Iterator[LineQuarter]:
        for unit, counts in sorted(self._units.items()):
            failed = counts.failed
            yield LineQuarter(
                bus=self._bus,
                unit=unit,
                start_utc_ms=self._start_ms,
                end_utc_ms=end_ms,
                watched_s=round(watched_s, 3),
                busy_s=round(counts.busy_s, 3),
                requests=counts.answers + sum(failed.values()) - failed[FailureKind.NO_LINK],
                answers=counts.answers,
                refused=failed[FailureKind.REFUSED],
                no_reply=failed[FailureKind.NO_REPLY],
                damaged=failed[FailureKind.DAMAGED],
                echo=failed[FailureKind.ECHO],
                no_link=failed[FailureKind.NO_LINK],
                long_answers=counts.long_answers,
                long_damaged=counts.long_damaged,
                reply_times=tuple(counts.reply_times),
            )

    def _of(self, unit: int) -> _Unit:
        counts = self._units.get(unit)
        if counts is None:
            counts = self._units[unit] = _Unit()
        return counts

    def _reply_s(self, now_s: float, answer_bytes: int) -> float | None:
        if self._sent_s is None:
            return None
        return now_s - self._sent_s - (self._sent_bytes + answer_bytes) * self._character_s

    def _next_end_ms(self) -> int:
        quarter_ends = (self._start_ms // QUARTER_MS + 1) * QUARTER_MS
        return min(quarter_ends, self._start_ms + max(FIRST_MS, self._start_ms - self._begun_ms))


class CountedBus:
    """A bus whose reads are counted; it raises what the bus raises."""

    def __init__(self, bus: ReadOnlyBus, use: LineUse) -> None:
        self._bus = bus
        self._use = use

    def read_registers(
        self, unit: int, table: RegisterTable, address: int, count: int, whole_counts: tuple[int, ...] = ()
    ) -> bytes:
        """Read as :meth:`ReadOnlyBus.read_registers` does."""
        answer_bytes = _AROUND_DATA_BYTES + 2 * count
        begun_s = self._use.asks()
        try:
            data = self._bus.read_registers(unit, table, address, count, whole_counts)
        except BusError as error:
            self._use.failed(unit, error, answer_bytes, begun_s)
            raise
        self._use.answered(unit, answer_bytes, begun_s)
        return data
