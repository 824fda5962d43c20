"""Counts of how buses are used: kept once, given back as they came, dropped when they are old."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from collector.line_quarter import QUARTER_MS, REPLY_EDGES_S, LineQuarter
from collector.store import Store
from collector.store.lines import KEPT_MS

CLASSES = len(REPLY_EDGES_S) + 1
ONE = LineQuarter(
    bus="line",
    unit=11,
    start_utc_ms=KEPT_MS * 2,
    end_utc_ms=KEPT_MS * 2 + QUARTER_MS,
    watched_s=900.0,
    busy_s=61.25,
    requests=100,
    answers=90,
    refused=1,
    no_reply=2,
    damaged=3,
    echo=4,
    no_link=5,
    long_answers=80,
    long_damaged=2,
    reply_times=tuple(range(CLASSES)),
)


def test_counts_come_back_as_they_went_in(store: Store) -> None:
    assert store.record_lines([ONE]) == 1
    assert store.lines(0, ONE.end_utc_ms) == [ONE]


def test_reply_times_without_a_late_one_come_back_whole(store: Store) -> None:
    one = replace(ONE, reply_times=(3, *(0,) * (CLASSES - 1)))
    none = replace(ONE, unit=12, reply_times=(0,) * CLASSES)
    store.record_lines([one, none])
    assert store.lines(0, ONE.end_utc_ms) == [one, none]


def test_the_first_count_of_a_unit_and_start_stays(store: Store) -> None:
    store.record_lines([ONE])
    assert store.record_lines([replace(ONE, answers=0)]) == 0
    assert store.lines(0, ONE.end_utc_ms) == [ONE]


def test_a_range_has_its_start_and_not_its_end(store: Store) -> None:
    store.record_lines([ONE])
    assert store.lines(ONE.start_utc_ms, ONE.start_utc_ms + 1) == [ONE]
    assert store.lines(0, ONE.start_utc_ms) == []


def test_one_bus_can_be_asked_for(store: Store) -> None:
    other = replace(ONE, bus='another "one"')
    store.record_lines([ONE, other])
    assert store.lines(0, ONE.end_utc_ms, 'another "one"') == [other]


def test_what_is_older_than_two_months_goes_when_newer_comes(store: Store) -> None:
    old = replace(ONE, start_utc_ms=ONE.start_utc_ms - KEPT_MS - 1)
    kept = replace(ONE, start_utc_ms=ONE.start_utc_ms - KEPT_MS)
    store.record_lines([old, kept])
    store.record_lines([ONE])
    assert store.lines(0, ONE.end_utc_ms) == [kept, ONE]


def test_two_months_of_forty_pumps_stay_a_small_part_of_the_file(store: Store, file: Path) -> None:
    days, pumps = 2, 44
    rows = [
        replace(ONE, unit=unit, start_utc_ms=place * QUARTER_MS, reply_times=(0, 0, 0, 0, 80, 8, 1, 1))
        for place in range(96 * days)
        for unit in range(1, pumps + 1)
    ]
    rows = [replace(row, reply_times=row.reply_times + (0,) * (CLASSES - 8)) for row in rows]
    store.record_lines(rows)
    store.close()
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("VACUUM")
        ((pages,),) = connection.execute("PRAGMA page_count")
    # Readings of the same pumps, at 10 s and some 100 bytes each, take more in a single day.
    assert pages * 4096 / days * 60 < 44 * 8640 * 100


def test_the_sink_of_polling_keeps_counts(store: Store) -> None:
    store.as_sink().counted([ONE])
    assert store.lines(0, ONE.end_utc_ms) == [ONE]


def test_sums_of_a_step_are_those_of_its_counts_unit_by_unit(store: Store) -> None:
    hour_ms = 4 * QUARTER_MS
    first = KEPT_MS * 2 // hour_ms * hour_ms
    quarters = [
        replace(
            ONE,
            unit=unit,
            start_utc_ms=first + place * QUARTER_MS,
            end_utc_ms=first + (place + 1) * QUARTER_MS,
            requests=100 + place,
            reply_times=(place, *(0,) * (CLASSES - 2), unit) if place else (0,) * CLASSES,
        )
        for unit in (11, 12)
        for place in range(6)
    ]
    store.record_lines(quarters)
    sums = store.line_sums(0, first + 2 * hour_ms, hour_ms)
    assert [(each.start_utc_ms, each.unit) for each in sums] == [
        (first, 11), (first, 12), (first + hour_ms, 11), (first + hour_ms, 12)
    ]  # fmt: skip
    for each in sums:
        its = [
            quarter
            for quarter in quarters
            if quarter.unit == each.unit and quarter.start_utc_ms // hour_ms == each.start_utc_ms // hour_ms
        ]
        assert each.end_utc_ms == max(quarter.end_utc_ms for quarter in its)
        for name in ("watched_s", "busy_s", "requests", "answers", "echo", "long_damaged"):
            assert getattr(each, name) == sum(getattr(quarter, name) for quarter in its)
        assert each.reply_times == tuple(
            map(sum, zip(*(quarter.reply_times for quarter in its), strict=True))
        )


def test_sums_can_be_asked_of_one_bus_and_a_range(store: Store) -> None:
    other = replace(ONE, bus="other")
    store.record_lines([ONE, other, replace(ONE, start_utc_ms=ONE.start_utc_ms + QUARTER_MS)])
    (one,) = store.line_sums(ONE.start_utc_ms, ONE.start_utc_ms + 1, QUARTER_MS, "line")
    assert (one.bus, one.requests) == ("line", ONE.requests)
