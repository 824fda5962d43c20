from __future__ import annotations

import threading
import time
from collections.abc import Sequence

import pytest

from collector.poll import UndeliveredReadings, outbox
from collector.poll.outbox import Outbox
from collector.reading import FailureKind, PollFailure, Reading


def reading(number: int) -> Reading:
    return Reading(pump="P", time_utc_ms=number)


FAILURE = PollFailure(pump="P", time_utc_ms=5, kind=FailureKind.NO_REPLY, sentence="no reply")


class Store:
    """A sink that refuses the first calls, as a locked database does."""

    def __init__(self, refusals: int = 0) -> None:
        self.readings: list[Reading] = []
        self.failures: list[PollFailure] = []
        self.calls = 0
        self._refusals = refusals

    def append(self, readings: Sequence[Reading]) -> None:
        self.calls += 1
        if self.calls <= self._refusals:
            raise RuntimeError("database is locked")
        self.readings.extend(readings)

    def failed(self, failures: Sequence[PollFailure]) -> None:
        self.failures.extend(failures)


def test_what_is_put_in_comes_out_in_order() -> None:
    store = Store()
    box = Outbox(store)
    box.start()
    for number in range(500):
        box.put([reading(number)], [])
    box.put([], [FAILURE])
    box.close(within_s=5.0)
    assert [one.time_utc_ms for one in store.readings] == list(range(500))
    assert store.failures == [FAILURE]


def test_a_store_that_refuses_is_offered_everything_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outbox, "RETRY_S", 0.01)
    store = Store(refusals=20)
    box = Outbox(store)
    box.start()
    for number in range(50):
        box.put([reading(number)], [])
        time.sleep(0.002)
    box.close(within_s=5.0)
    assert [one.time_utc_ms for one in store.readings] == list(range(50))
    assert store.calls > 20


def test_readings_that_cannot_be_stored_at_the_end_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outbox, "RETRY_S", 0.01)
    box = Outbox(Store(refusals=1_000_000))
    box.start()
    box.put([reading(1), reading(2)], [])
    with pytest.raises(UndeliveredReadings, match="2 readings could not be stored: database is locked"):
        box.close(within_s=0.1)


def test_polling_pauses_rather_than_losing_readings_when_too_many_wait(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(outbox, "RETRY_S", 0.01)
    monkeypatch.setattr(outbox, "MOST_WAITING", 3)
    store = Store(refusals=30)
    box = Outbox(store)
    box.start()
    box.put([reading(number) for number in range(3)], [])
    putting = threading.Thread(target=box.put, args=([reading(3)], []))
    putting.start()
    putting.join(0.05)
    assert putting.is_alive()
    putting.join(5.0)
    box.close(within_s=5.0)
    assert len(store.readings) == 4


def test_a_complaint_is_logged_once_a_minute_not_at_every_try(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(outbox, "RETRY_S", 0.01)
    box = Outbox(Store(refusals=10))
    box.start()
    box.put([reading(1)], [])
    box.close(within_s=5.0)
    assert [record.getMessage() for record in caplog.records] == [
        "1 readings wait for the store: database is locked"
    ]


def test_what_is_held_waits_for_the_hand_over_and_then_goes_in_one_go() -> None:
    store = Store()
    box = Outbox(store)
    box.start()
    for number in range(3):
        box.hold([reading(number)], [])
    time.sleep(0.05)
    assert store.readings == []
    box.hand_over()
    box.close(within_s=5.0)
    assert (store.calls, len(store.readings)) == (1, 3)


def test_what_is_held_at_the_end_is_delivered() -> None:
    store = Store()
    box = Outbox(store)
    box.start()
    box.hold([reading(1)], [FAILURE])
    box.close(within_s=5.0)
    assert (store.readings, store.failures) == ([reading(1)], [FAILURE])


def test_holding_more_than_may_wait_does_not_block_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outbox, "MOST_WAITING", 3)
    store = Store()
    box = Outbox(store)
    box.start()
    for number in range(20):
        box.hold([reading(number)], [])
    box.close(within_s=5.0)
    assert [one.time_utc_ms for one in store.readings] == list(range(20))


def test_what_comes_after_the_end_is_counted_and_told(caplog: pytest.LogCaptureFixture) -> None:
    store = Store()
    box = Outbox(store)
    box.start()
    box.close(within_s=5.0)
    box.put([reading(1), reading(2)], [FAILURE])
    assert store.readings == []
    assert [record.getMessage() for record in caplog.records] == [
        "polling has ended: 2 readings and 1 failed reads came too late"
    ]


def test_failures_that_a_locked_store_cannot_take_are_bounded_and_the_rest_counted(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(outbox, "RETRY_S", 0.01)
    monkeypatch.setattr(outbox, "MOST_FAILURES_WAITING", 4)
    store = Store(refusals=20)
    box = Outbox(store)
    box.start()
    box.put([reading(1)], [])
    for _ in range(10):
        box.put([], [FAILURE])
    box.close(within_s=5.0)
    assert (store.readings, len(store.failures)) == ([reading(1)], 4)
    assert [record.getMessage() for record in caplog.records][1:] == [
        "the reasons of 6 failed reads were not kept while the store refused: database is locked"
    ]


def test_failures_that_cannot_be_stored_at_the_end_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outbox, "RETRY_S", 0.01)
    monkeypatch.setattr(outbox, "MOST_FAILURES_WAITING", 2)
    box = Outbox(Store(refusals=1_000_000))
    box.start()
    box.put([reading(1)], [FAILURE] * 5)
    with pytest.raises(
        UndeliveredReadings, match=r"1 readings .* \(nor the reasons of 5 failed reads\): data"
    ):
        box.close(within_s=0.1)
