"""Readings on their way to the store: kept until it has taken them, so that a locked database loses none."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Sequence
from typing import Final, Protocol

from collector.reading import PollFailure, Reading

MOST_WAITING: Final = 50_000
"""About 20 MB. When so many readings wait, polling pauses: a gap is honest, a lost reading is not."""
RETRY_S: Final = 0.5
COMPLAIN_EVERY_S: Final = 60.0

_log = logging.getLogger(__name__)


class Sink(Protocol):
    """Where readings go. Either method may raise: what it was given is then offered again."""

    def append(self, readings: Sequence[Reading]) -> None:
        """Keep the readings; returns when they are safe. The same reading may come twice."""

    def failed(self, failures: Sequence[PollFailure]) -> None:
        """Keep the failures."""


class UndeliveredReadings(Exception):
    """Polling ended while the store still refused what it was given."""


class Outbox:
    """Hands over from one thread what the bus threads bring, so that a slow store delays no bus."""

    def __init__(self, sink: Sink) -> None:
        self._sink = sink
        self._readings: list[Reading] = []
        self._failures: list[PollFailure] = []
        self._closing = threading.Event()
        self._given_up = threading.Event()
        self._changed = threading.Condition()
        self._trouble: Exception | None = None
        self._complained_s = float("-inf")
        self._thread = threading.Thread(target=self._deliver_until_closed, name="outbox", daemon=True)

    def start(self) -> None:
        """Begin to deliver."""
        self._thread.start()

    def put(self, readings: Sequence[Reading], failures: Sequence[PollFailure]) -> None:
        """Leave a scan's readings and failures, waiting while too many wait already."""
        with self._changed:
            self._changed.wait_for(lambda: len(self._readings) < MOST_WAITING or self._closing.is_set())
            self._readings.extend(readings)
            self._failures.extend(failures)
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
        if self._readings or self._failures:
            raise UndeliveredReadings(f"{len(self._readings)} readings could not be stored: {self._trouble}")

    def _deliver_until_closed(self) -> None:
        while self._wait_for_something():
            if not self._deliver():
                self._complain()
                if self._given_up.wait(RETRY_S):
                    return

    def _wait_for_something(self) -> bool:
        with self._changed:
            self._changed.wait_for(lambda: self._readings or self._failures or self._closing.is_set())
            return bool(self._readings or self._failures)

    def _deliver(self) -> bool:
        readings, failures = tuple(self._readings), tuple(self._failures)
        try:
            if readings:
                self._sink.append(readings)
                self._drop(len(readings), 0)
            if failures:
                self._sink.failed(failures)
                self._drop(0, len(failures))
        except Exception as trouble:  # whatever the store's trouble is, the readings must outlive it
            self._trouble = trouble
            return False
        return True

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
