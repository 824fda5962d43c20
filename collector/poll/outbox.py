"""Readings on their way to the store: kept until it has taken them, so that a locked database loses none."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Sequence
from typing import Final, Protocol

from collector.line_quarter import LineQuarter
from collector.reading import PollFailure, Reading

MOST_WAITING: Final = 50_000
"""About 20 MB. When so many readings wait, polling pauses: a gap is honest, a lost reading is not."""
MOST_FAILURES_WAITING: Final = 10_000
"""Beyond these, failures are counted and told but not kept: they explain a gap, they do not make one."""
MOST_COUNTS_WAITING: Final = 10_000
"""Two days of fifty pumps; beyond them a store that refuses costs counts, never readings."""
RETRY_S: Final = 0.5
COMPLAIN_EVERY_S: Final = 60.0

_log = logging.getLogger(__name__)


class Sink(Protocol):
    """Where readings go. Either method may raise: what it was given is then offered again."""

    def append(self, readings: Sequence[Reading]) -> None:
        """Keep the readings; returns when they are safe. The same reading may come twice."""

    def failed(self, failures: Sequence[PollFailure]) -> None:
        """Keep the failures."""


class LineSink(Protocol):
    """Where counts of how buses are used go; it may raise as :class:`Sink`."""

    def counted(self, quarters: Sequence[LineQuarter]) -> None:
        """Keep the counts; the same ones may come twice."""


class UndeliveredReadings(Exception):
    """Polling ended while the store still refused what it was given."""


class Outbox:
    """Hands over from one thread what the bus threads bring, so that a slow store delays no bus."""

    def __init__(self, sink: Sink, lines: LineSink | None = None) -> None:
        self._sink = sink
        self._lines = lines
        self._readings: list[Reading] = []
        self._failures: list[PollFailure] = []
        self._quarters: list[LineQuarter] = []
        self._closing = threading.Event()
        self._given_up = threading.Event()
        self._due = False
        self._ended = False
        self._failures_dropped = 0
        self._changed = threading.Condition()
        self._trouble: Exception | None = None
        self._complained_s = float("-inf")
        self._thread = threading.Thread(target=self._deliver_until_closed, name="outbox", daemon=True)

    def start(self) -> None:
        """Begin to deliver."""
        self._thread.start()

    def put(self, readings: Sequence[Reading], failures: Sequence[PollFailure]) -> None:
        """Leave readings and failures to be delivered now, waiting while too many wait already.

        What comes when delivery has ended is counted and told in the log: nobody can store it any more.
        """
        self.hold(readings, failures)
        self.hand_over()

    def hold(self, readings: Sequence[Reading], failures: Sequence[PollFailure]) -> None:
        """Leave them for the next :meth:`hand_over`, or for the end, whichever comes first."""
        with self._changed:
            while len(self._readings) >= MOST_WAITING and not self._closing.is_set():
                self._due = True
                self._changed.notify_all()
                self._changed.wait()
            if self._ended:
                self._tell_too_late(len(readings), len(failures))
                return
            self._readings.extend(readings)
            room = max(0, MOST_FAILURES_WAITING - len(self._failures))
            self._failures.extend(failures[:room])
            self._failures_dropped += len(failures[room:])

    def count(self, quarters: Sequence[LineQuarter]) -> None:
        """Leave counts of how a bus is used, to be delivered with whatever is handed over next."""
        with self._changed:
            if self._lines is not None and not self._ended:
                self._quarters.extend(quarters)
                del self._quarters[:-MOST_COUNTS_WAITING]

    def hand_over(self) -> None:
        """Deliver all that is held, in one go: one commit a scan."""
        with self._changed:
            self._due = True
            self._changed.notify_all()

    def close(self, within_s: float) -> None:
        """Deliver what is left.

        Raises
        ------
        UndeliveredReadings
            When the store has not taken everything within this time [s].
        """
        with self._changed:
            self._closing.set()
            self._changed.notify_all()
        self._thread.join(within_s)
        self._given_up.set()
        with self._changed:
            self._ended = True
            if self._readings or self._failures:
                raise UndeliveredReadings(self._left_over())

    def _left_over(self) -> str:
        failures = len(self._failures) + self._failures_dropped
        also = f" (nor the reasons of {failures} failed reads)" if failures else ""
        return f"{len(self._readings)} readings could not be stored{also}: {self._trouble}"

    def _deliver_until_closed(self) -> None:
        while self._wait_for_something():
            if not self._deliver():
                self._complain()
                self.hand_over()
                if self._given_up.wait(RETRY_S):
                    return

    def _wait_for_something(self) -> bool:
        """Wait for a hand-over; False when polling ends and nothing is left."""
        with self._changed:
            self._changed.wait_for(lambda: self._due or self._closing.is_set())
            self._due = False
            left = self._readings or self._failures or self._quarters
            self._ended = self._closing.is_set() and not left
            return not self._ended

    def _deliver(self) -> bool:
        readings, failures = tuple(self._readings), tuple(self._failures)
        try:
            if readings:
                self._sink.append(readings)
                self._drop(len(readings), 0)
            if failures:
                self._sink.failed(failures)
                self._drop(0, len(failures))
            self._deliver_counts()
        except Exception as trouble:  # whatever the store's trouble is, the readings must outlive it
            self._trouble = trouble
            return False
        self._tell_dropped()
        return True

    def _deliver_counts(self) -> None:
        quarters = tuple(self._quarters)
        if quarters and self._lines is not None:
            self._lines.counted(quarters)
            with self._changed:
                # What came meanwhile may have pushed old ones out: only what was delivered goes.
                delivered = set(map(id, quarters))
                self._quarters = [each for each in self._quarters if id(each) not in delivered]

    def _drop(self, readings: int, failures: int) -> None:
        with self._changed:
            del self._readings[:readings]
            del self._failures[:failures]
            self._changed.notify_all()

    def _complain(self) -> None:
        now_s = time.monotonic()
        if now_s - self._complained_s >= COMPLAIN_EVERY_S:
            self._complained_s = now_s
            _log.warning("%d readings wait for the store: %s", len(self._readings), self._trouble)

    def _tell_dropped(self) -> None:
        with self._changed:
            dropped, self._failures_dropped = self._failures_dropped, 0
        if dropped:
            _log.warning(
                "the reasons of %d failed reads were not kept while the store refused: %s",
                dropped,
                self._trouble,
            )

    def _tell_too_late(self, readings: int, failures: int) -> None:
        _log.warning("polling has ended: %d readings and %d failed reads came too late", readings, failures)
