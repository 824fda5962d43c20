"""What is appended is what is read back, in the order of time, and never changes."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.quantities import QUANTITIES, QUANTITY_NAMES, Quantity
from collector.reading import FailureKind, PollFailure, Quality, Reading, Source, pack_quality
from collector.store import Store, open_store

END = 10**15


def reading(time_utc_ms: int, pump: str = "P01", **values: float) -> Reading:
    return Reading(pump=pump, time_utc_ms=time_utc_ms, **values)  # type: ignore[arg-type]


def failure(time_utc_ms: int, pump: str = "P01") -> PollFailure:
    return PollFailure(
        pump=pump, time_utc_ms=time_utc_ms, kind=FailureKind.NO_REPLY, sentence="P01: no reply in 0.5 s"
    )


def test_append_says_how_many_were_new(store: Store) -> None:
    store.append([reading(1), reading(2)])
    assert store.append([reading(2), reading(3)]) == 1


def test_the_first_reading_of_an_instant_stays(store: Store) -> None:
    store.append([reading(1, speed_rpm=1450.0)])
    store.append([reading(1, speed_rpm=9.0)])
    assert store.rows("P01", 0, END, ["speed_rpm"]) == [(1, 1450.0)]


def test_the_first_of_two_in_one_batch_stays(store: Store) -> None:
    store.append([reading(1, speed_rpm=1450.0), reading(1, speed_rpm=9.0)])
    assert store.rows("P01", 0, END, ["speed_rpm"]) == [(1, 1450.0)]


def test_replaying_everything_changes_nothing(store: Store) -> None:
    batch = [reading(time, head_m=float(time)) for time in range(1000)]
    store.append(batch)
    before = store.rows("P01", 0, END)
    assert store.append(batch) == 0
    assert store.rows("P01", 0, END) == before


def test_rows_come_in_order_of_time_however_they_arrived(store: Store) -> None:
    for time in (5, 1, 3, 2, 4):
        store.append([reading(time)])
    assert [row[0] for row in store.rows("P01", 0, END)] == [1, 2, 3, 4, 5]


def test_a_range_has_its_start_and_not_its_end(store: Store) -> None:
    store.append([reading(time) for time in (1, 2, 3)])
    assert [row[0] for row in store.rows("P01", 1, 3)] == [1, 2]


def test_rows_are_of_one_pump(store: Store) -> None:
    store.append([reading(1, "P01", flow_m3h=1.0), reading(1, "P02", flow_m3h=2.0)])
    assert store.rows("P02", 0, END, ["flow_m3h"]) == [(1, 2.0)]


def test_rows_hold_every_quantity_by_default(store: Store) -> None:
    store.append([reading(1)])
    assert len(store.rows("P01", 0, END)[0]) == 1 + len(QUANTITY_NAMES)


def test_a_column_that_is_none_is_refused(store: Store) -> None:
    with pytest.raises(KeyError, match="flow_gpm"):
        store.rows("P01", 0, END, ["flow_gpm"])


def test_an_unknown_pump_has_nothing(store: Store) -> None:
    assert (store.rows("P99", 0, END), store.latest("P99"), store.span("P99")) == ([], None, None)
    assert store.failures("P99", 0, END) == []


def test_latest_is_the_newest_by_time_not_by_arrival(store: Store) -> None:
    newest = reading(7_200_000, power_w=900.0)
    store.append([newest])
    store.append([reading(5), reading(3_600_000)])
    assert store.latest("P01") == newest


def test_span_reaches_from_the_first_to_the_newest_reading(store: Store) -> None:
    store.append([reading(9_000_000), reading(4), reading(17), reading(8_999_999)])
    assert store.span("P01") == (4, 9_000_000)


def test_failures_do_not_count_as_readings(store: Store) -> None:
    store.append([reading(5)])
    store.record_failures([failure(9_000_000), failure(1)])
    assert store.span("P01") == (5, 5)


def test_a_failure_is_kept_as_it_was_said(store: Store) -> None:
    said = failure(7)
    store.record_failures([said])
    assert store.failures("P01", 0, END) == [said]


def test_a_failure_twice_is_kept_once(store: Store) -> None:
    assert [store.record_failures([failure(7)]) for _ in range(2)] == [1, 0]


def test_pumps_are_known_by_readings_and_by_failures(store: Store) -> None:
    store.append([reading(1, "P02")])
    store.record_failures([failure(1, "P01")])
    assert store.pump_names() == ("P01", "P02")


def test_an_empty_scan_is_no_trouble(store: Store) -> None:
    assert (store.append([]), store.record_failures([])) == (0, 0)


def test_the_sink_keeps_readings_and_failures(store: Store) -> None:
    sink = store.as_sink()
    sink.append([reading(1)])
    sink.failed([failure(2)])
    assert (store.span("P01"), len(store.failures("P01", 0, END))) == ((1, 1), 1)


def test_another_process_sees_what_was_appended(store: Store, file: Path) -> None:
    other = open_store(f"sqlite:///{file}")
    try:
        store.append([reading(1)])
        assert other.span("P01") == (1, 1)
    finally:
        other.close()


def test_a_name_may_hold_any_letters(store: Store) -> None:
    name = "Pompe «Été» '; DROP TABLE reading; -- 水泵"
    store.append([reading(1, name)])
    assert (store.pump_names(), store.span(name)) == ((name,), (1, 1))


def test_threads_of_several_buses_lose_nothing(store: Store) -> None:
    def poll(bus: int) -> None:
        for time in range(50):
            store.append([reading(time, f"bus {bus} pump {pump}") for pump in range(4)])

    threads = [threading.Thread(target=poll, args=(bus,)) for bus in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [len(store.rows(name, 0, END)) for name in store.pump_names()] == [50] * 32


def test_programs_that_write_at_once_wait_for_each_other(store: Store, file: Path) -> None:
    other = open_store(f"sqlite:///{file}")

    def write(into: Store, pump: str) -> None:
        for time in range(100):
            into.append([reading(time, pump)])

    try:
        with ThreadPoolExecutor(2) as threads:
            done = [threads.submit(write, store, "P01"), threads.submit(write, other, "P02")]
        assert [each.exception() for each in done] == [None, None]
        assert [len(store.rows(pump, 0, END)) for pump in ("P01", "P02")] == [100, 100]
    finally:
        other.close()


def values_of(quantity: Quantity) -> st.SearchStrategy[float | int | None]:
    if quantity.value_type == "whole":
        return st.none() | st.integers(0, int(quantity.highest))
    return st.none() | st.floats(quantity.lowest, quantity.highest)


READINGS = st.builds(
    Reading,
    pump=st.text(min_size=1, max_size=8).filter(lambda name: name.isprintable()),
    time_utc_ms=st.integers(0, 4_102_444_800_000),
    quality=st.dictionaries(st.sampled_from(QUANTITY_NAMES), st.sampled_from(Quality)).map(pack_quality),
    source=st.sampled_from(Source),
    **{quantity.name: values_of(quantity) for quantity in QUANTITIES},
)


@settings(max_examples=60, deadline=None)
@given(READINGS)
def test_any_reading_comes_back_exactly_as_it_went(one: Reading) -> None:
    with TemporaryDirectory() as folder:
        store = open_store(f"sqlite:///{folder}/site.sqlite")
        try:
            store.append([one])
            assert store.latest(one.pump) == one
        finally:
            store.close()
