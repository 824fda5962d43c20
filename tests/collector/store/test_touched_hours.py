"""Analysis asks what changed since its last look; no change is ever missed, and old hours stay quiet."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st

from collector.reading import FailureKind, PollFailure, Reading
from collector.store import HOUR_MS, Store, hour_of, open_store


def at(hour: float, pump: str = "P01") -> Reading:
    return Reading(pump=pump, time_utc_ms=round(hour * HOUR_MS))


def failed_at(hour: float, pump: str = "P01") -> PollFailure:
    return PollFailure(
        pump=pump, time_utc_ms=round(hour * HOUR_MS), kind=FailureKind.NO_REPLY, sentence="no reply"
    )


def hours(*numbers: int) -> list[int]:
    return [number * HOUR_MS for number in numbers]


def test_an_empty_store_has_nothing_to_look_at(store: Store) -> None:
    assert store.touched_hours().hours == {}


def test_the_first_question_names_every_hour(store: Store) -> None:
    store.append([at(0.1), at(2.5), at(1, "P02")])
    assert store.touched_hours().hours == {"P01": hours(0, 2), "P02": hours(1)}


def test_the_next_question_names_only_the_hour_that_may_still_fill(store: Store) -> None:
    store.append([at(0.1), at(2.5)])
    mark = store.touched_hours().mark
    assert store.touched_hours(mark).hours == {"P01": hours(2)}


def test_a_new_hour_is_named_with_the_one_it_closed(store: Store) -> None:
    store.append([at(2.5)])
    mark = store.touched_hours().mark
    store.append([at(2.6), at(3.1)])
    assert store.touched_hours(mark).hours == {"P01": hours(2, 3)}


def test_a_late_import_of_old_readings_is_noticed(store: Store) -> None:
    store.append([at(100)])
    mark = store.touched_hours().mark
    store.append([at(7.2), at(8.2)])
    assert store.touched_hours(mark).hours == {"P01": hours(7, 8, 100)}


def test_an_old_hour_that_gets_another_reading_is_noticed(store: Store) -> None:
    store.append([at(7), at(100)])
    mark = store.touched_hours().mark
    store.append([at(7.5)])
    assert hours(7)[0] in store.touched_hours(mark).hours["P01"]


def test_readings_that_were_there_already_touch_nothing(store: Store) -> None:
    store.append([at(7), at(100)])
    mark = store.touched_hours().mark
    store.append([at(7)])
    assert store.touched_hours(mark).hours == {"P01": hours(100)}


def test_scans_in_order_leave_the_journal_alone(store: Store) -> None:
    store.append([at(7)])
    mark = store.touched_hours().mark
    for minute in range(1, 60):
        store.append([at(7 + minute / 60)])
    assert store.touched_hours(mark).mark == mark


def test_an_hour_of_nothing_but_failures_is_named(store: Store) -> None:
    store.append([at(7)])
    mark = store.touched_hours().mark
    store.record_failures([failed_at(8)])
    assert store.touched_hours(mark).hours == {"P01": hours(7, 8)}


def test_a_reading_after_failures_in_the_same_hour_counts(store: Store) -> None:
    store.record_failures([failed_at(8)])
    store.append([at(8.5)])
    assert store.span("P01") == (round(8.5 * HOUR_MS), round(8.5 * HOUR_MS))


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["append", "fail", "ask"]),
        st.sampled_from(["P01", "P02"]),
        st.lists(st.integers(0, 6 * 60 - 1), min_size=1, max_size=4),
    ),
    max_size=25,
)


@settings(max_examples=120, deadline=None)
@given(STEPS)
def test_no_change_is_ever_missed(steps: list[tuple[str, str, list[int]]]) -> None:
    """Every hour changed between two questions is in the second's answer, in any order of arrival."""
    with TemporaryDirectory() as folder:
        store = open_store(f"sqlite:///{Path(folder) / 'site.sqlite'}")
        try:
            _follow(store, steps)
        finally:
            store.close()


def _follow(store: Store, steps: list[tuple[str, str, list[int]]]) -> None:
    changed: set[tuple[str, int]] = set()
    mark = 0
    for what, pump, minutes in [*steps, ("ask", "", [])]:
        if what == "ask":
            touched = store.touched_hours(mark)
            told = {(name, hour) for name, all_hours in touched.hours.items() for hour in all_hours}
            assert changed <= told
            mark, changed = touched.mark, set()
        elif what == "append":
            changed |= _new_hours(store, pump, minutes)
            store.append([at(minute / 60, pump) for minute in minutes])
        else:
            changed |= _new_hours(store, pump, minutes, failed=True)
            store.record_failures([failed_at(minute / 60, pump) for minute in minutes])


def _new_hours(store: Store, pump: str, minutes: list[int], *, failed: bool = False) -> set[tuple[str, int]]:
    readings = {row[0] for row in store.rows(pump, 0, 10 * HOUR_MS, [])}
    failures = {each.time_utc_ms for each in store.failures(pump, 0, 10 * HOUR_MS)}
    known = failures if failed else readings
    return {(pump, hour_of(minute * 60_000)) for minute in minutes if minute * 60_000 not in known}
