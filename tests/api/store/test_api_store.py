"""What is derived or decided, kept in a real SQLite file beside the readings."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from sqlalchemy import create_engine, inspect

from api.analytics.facts import ServiceEvent
from api.analytics.finding import Cause, Evidence, Finding, Kind, Priority
from api.store.api_store import ApiStore, StoredCurve, open_api_store, write_curve, write_mark
from api.store.findings import write_updates
from api.store.hour_rows import delete_hours, write_hours
from api.store.service_events import WITHDRAWN, ServiceRecord
from api.store.stored_finding import Change, FindingUpdate, State
from api.store.tables import METADATA
from collector.store import StoreError, open_store

HOUR_MS = 3_600_000
FOUND = Finding(
    pump="Lap pool 1",
    kind=Kind.HEAD_LOSS,
    first_utc_ms=10 * HOUR_MS,
    last_utc_ms=20 * HOUR_MS,
    active=True,
    priority=Priority.SOON,
    effect=-0.041,
    effect_low=-0.049,
    effect_high=-0.033,
    causes=(Cause(names=("ring_leakage", "impeller_wear"), weight=0.8), Cause(names=("air",), weight=0.1)),
    evidence=(Evidence(name="head_m", value=11.2),),
    checks=("compare_gauges", "shutoff_head_test"),
    assessable_share=0.91,
)


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'site.sqlite'}"


@pytest.fixture
def store(url: str) -> Iterator[ApiStore]:
    store = open_api_store(url)
    yield store
    store.close()


def raise_finding(store: ApiStore, finding: Finding = FOUND) -> int:
    update = FindingUpdate(stored=None, finding=finding, state=State.ACTIVE, changes=(Change.RAISED,))
    with store.write() as connection:
        write_updates(connection, [update], 21 * HOUR_MS)
    return store.findings()[0].finding_id


def hours(first: int, count: int, **columns: float) -> pd.DataFrame:
    index = pd.Index([(first + place) * HOUR_MS for place in range(count)], dtype="int64", name="hour_utc_ms")
    return pd.DataFrame({name: np.full(count, value) for name, value in columns.items()}, index=index)


def test_a_finding_comes_back_as_it_was_written(store: ApiStore) -> None:
    raise_finding(store)
    (stored,) = store.findings("Lap pool 1")
    assert stored.finding == FOUND


def test_the_first_acknowledgement_stays_and_is_in_the_history(store: ApiStore) -> None:
    number = raise_finding(store)
    assert store.acknowledge(number, 30 * HOUR_MS, "engineer")
    assert store.acknowledge(number, 31 * HOUR_MS, "viewer")
    stored = store.finding(number)
    assert stored is not None
    assert (stored.acknowledged_utc_ms, stored.acknowledged_by) == (30 * HOUR_MS, "engineer")
    assert [(change.what, change.by_role) for change in store.changes(number)] == [
        ("raised", "analysis"),
        ("acknowledged", "engineer"),
    ]


def test_a_finding_that_does_not_exist_cannot_be_acknowledged(store: ApiStore) -> None:
    assert not store.acknowledge(99, 0, "engineer")


def test_an_update_keeps_the_acknowledgement(store: ApiStore) -> None:
    number = raise_finding(store)
    store.acknowledge(number, 30 * HOUR_MS, "engineer")
    before = store.finding(number)
    over = replace(FOUND, active=False, last_utc_ms=40 * HOUR_MS)
    update = FindingUpdate(
        stored=before, finding=over, state=State.RETURNED_TO_NORMAL, changes=(Change.RETURNED_TO_NORMAL,)
    )
    with store.write() as connection:
        write_updates(connection, [update], 41 * HOUR_MS)
    after = store.finding(number)
    assert after is not None
    assert (after.finding, after.acknowledged_by) == (over, "engineer")


def test_findings_are_told_apart_by_state(store: ApiStore) -> None:
    raise_finding(store)
    assert len(store.findings(states=[State.ACTIVE])) == 1
    assert store.findings(states=[State.RETURNED_TO_NORMAL, State.WITHDRAWN]) == []


def test_hour_rows_come_back_to_the_last_bit(store: ApiStore) -> None:
    rows = hours(5, 3, n_trusted=60.0, sum_n=0.1 + 0.2, sum_h=float("nan"))
    with store.write() as connection:
        write_hours(connection, "P1", rows)
    pd.testing.assert_frame_equal(store.hours("P1"), rows, check_exact=True)


def test_an_hour_written_again_replaces_the_one_before(store: ApiStore) -> None:
    with store.write() as connection:
        write_hours(connection, "P1", hours(5, 3, energy_kwh=1.0))
        write_hours(connection, "P1", hours(6, 1, energy_kwh=2.0))
    assert store.hours("P1")["energy_kwh"].tolist() == [1.0, 2.0, 1.0]


def test_a_range_of_hours_includes_its_start_and_not_its_end(store: ApiStore) -> None:
    with store.write() as connection:
        write_hours(connection, "P1", hours(5, 3, energy_kwh=1.0))
    assert store.hours("P1", 5 * HOUR_MS, 7 * HOUR_MS).index.tolist() == [5 * HOUR_MS, 6 * HOUR_MS]


def test_hours_are_deleted_for_one_pump_only(store: ApiStore) -> None:
    with store.write() as connection:
        write_hours(connection, "P1", hours(5, 2, energy_kwh=1.0))
        write_hours(connection, "P2", hours(5, 2, energy_kwh=1.0))
        delete_hours(connection, "P1", [5 * HOUR_MS])
    assert (len(store.hours("P1")), len(store.hours("P2"))) == (1, 2)


def test_old_hours_stay_readable_when_a_column_is_added(store: ApiStore) -> None:
    with store.write() as connection:
        write_hours(connection, "P1", hours(5, 1, energy_kwh=1.0))
        write_hours(connection, "P1", hours(6, 1, energy_kwh=2.0, starts=3.0))
    rows = store.hours("P1")
    assert rows["energy_kwh"].tolist() == [1.0, 2.0]
    assert np.isnan(rows["starts"].iloc[0])
    assert rows["starts"].iloc[1] == 3.0


def test_a_pump_without_hours_has_an_empty_frame(store: ApiStore) -> None:
    assert store.hours("nobody").empty


def curve(value: float, *, is_full: bool, baseline_from_utc_ms: int = 0) -> StoredCurve:
    return StoredCurve(
        baseline_from_utc_ms=baseline_from_utc_ms, document={"a": value, "b": [1.5]}, is_full=is_full
    )


def test_each_baseline_has_a_curve_of_its_own(store: ApiStore) -> None:
    first, second = curve(1.0, is_full=True), curve(2.0, is_full=False, baseline_from_utc_ms=100)
    with store.write() as connection:
        write_curve(connection, "P1", first, 5)
        write_curve(connection, "P1", second, 500)
    assert (store.curve("P1", 0), store.curve("P1", 100), store.curve("P1", 7)) == (first, second, None)


def test_a_curve_that_is_not_full_is_replaced_by_a_better_one(store: ApiStore) -> None:
    with store.write() as connection:
        write_curve(connection, "P1", curve(1.0, is_full=False), 5)
        write_curve(connection, "P1", curve(3.0, is_full=True), 9)
    assert store.curve("P1", 0) == curve(3.0, is_full=True)


def test_a_full_baseline_is_never_overwritten(store: ApiStore) -> None:
    with store.write() as connection:
        write_curve(connection, "P1", curve(1.0, is_full=True), 5)
    with pytest.raises(StoreError), store.write() as connection:
        write_curve(connection, "P1", curve(3.0, is_full=True), 9)
    assert store.curve("P1", 0) == curve(1.0, is_full=True)


def test_a_step_that_fails_half_way_leaves_nothing(store: ApiStore) -> None:
    def step() -> None:
        with store.write() as connection:
            write_mark(connection, "readings", "7")
            write_hours(connection, "P1", hours(5, 1, energy_kwh=1.0))
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        step()
    assert (store.mark("readings"), store.hours("P1").empty) == (None, True)


def test_service_events_come_back_oldest_first(store: ApiStore) -> None:
    later = ServiceEvent(time_utc_ms=9, kind="impeller_changed", new_baseline=True)
    earlier = ServiceEvent(time_utc_ms=3, kind="vented")
    store.add_event("P1", later, "technician")
    store.add_event("P1", earlier, "technician")
    assert store.events("P1") == (earlier, later)
    assert store.events("P2") == ()


def test_the_service_log_keeps_who_did_it_and_what_they_wrote(store: ApiStore) -> None:
    event = ServiceEvent(time_utc_ms=3, kind="vented")
    store.add_event("P1", event, "technician", "top of the riser, \N{LATIN SMALL LETTER U WITH DIAERESIS}")
    record = store.service_log("P1")[0]
    assert (record.event, record.by_role) == (event, "technician")
    assert record.note == "top of the riser, \N{LATIN SMALL LETTER U WITH DIAERESIS}"


def test_an_entry_that_was_taken_back_stays_in_the_history_and_holds_no_longer(store: ApiStore) -> None:
    work = ServiceEvent(time_utc_ms=3, kind="impeller_changed", new_baseline=True)
    number = store.add_record("P1", ServiceRecord(event=work, by_role="technician", note="", finding_id=7))
    store.add_event("P1", ServiceEvent(time_utc_ms=4, kind="vented"), "technician")
    back = ServiceEvent(time_utc_ms=9, kind=WITHDRAWN)
    store.add_record("P1", ServiceRecord(event=back, by_role="engineer", note="P2", withdraws=number))
    assert [event.kind for event in store.events("P1")] == ["vented"]
    assert [record.event.kind for record in store.service_history("P1")] == [
        "impeller_changed",
        "vented",
        WITHDRAWN,
    ]
    assert [record.finding_id for record in store.service_history("P1")] == [7, None, None]


def test_an_event_recorded_before_notes_were_kept_has_an_empty_one(url: str, store: ApiStore) -> None:
    path = url.removeprefix("sqlite:///")
    with closing(sqlite3.connect(path)) as file:
        for column in ("note", "finding_id", "withdraws"):
            file.execute(f"ALTER TABLE service_event DROP COLUMN {column}")
        file.execute("DROP TABLE held_days")
        for table in ("field_check", "document", "document_content", "baseline_acceptance"):
            file.execute(f"DROP TABLE {table}")
        file.execute("DROP INDEX finding_by_end")
        file.execute("UPDATE api_version SET version_num = '0001'")
        file.execute(
            "INSERT INTO service_event (pump, time_utc_ms, kind, new_baseline, by_role)"
            " VALUES ('P1', 3, 'vented', 0, 'technician')"
        )
        file.commit()
    newer = open_api_store(url)
    try:
        assert [record.note for record in newer.service_log("P1")] == [""]
    finally:
        newer.close()


def test_it_shares_the_file_with_the_readings_and_each_has_its_own_version(url: str, store: ApiStore) -> None:
    open_store(url).close()
    with closing(sqlite3.connect(url.removeprefix("sqlite:///"))) as file:
        tables = {name for (name,) in file.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    assert {"api_version", "collector_version", "reading", "hour_row"} <= tables


def test_the_migrations_make_the_tables_that_the_code_describes(url: str, store: ApiStore) -> None:
    engine = create_engine(url)
    found = inspect(engine)
    made = {
        table.name: {(column["name"], column["nullable"]) for column in found.get_columns(table.name)}
        for table in METADATA.sorted_tables
    }
    engine.dispose()
    assert made == {
        table.name: {(column.name, column.nullable) for column in table.columns}
        for table in METADATA.sorted_tables
    }


def test_a_file_of_a_newer_version_is_refused_and_left_as_it_is(url: str, store: ApiStore) -> None:
    path = Path(url.removeprefix("sqlite:///"))
    with closing(sqlite3.connect(path)) as file:
        file.execute("UPDATE api_version SET version_num = '9999'")
        file.commit()
    with pytest.raises(StoreError, match="newer version"):
        open_api_store(url)


def test_a_text_file_is_refused_by_name(tmp_path: Path) -> None:
    path = tmp_path / "notes.sqlite"
    path.write_text("shopping list", encoding="utf-8")
    with pytest.raises(StoreError, match=r"notes\.sqlite is not a database"):
        open_api_store(f"sqlite:///{path}")
    assert path.read_text(encoding="utf-8") == "shopping list"
