"""Who accepted a learned curve: recorded once, of a full curve alone, and of that curve alone."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.store.acceptance import accept_curve, acceptance_of
from api.store.api_store import ApiStore, StoredCurve, open_api_store, write_curve


@pytest.fixture
def store(tmp_path: Path) -> Iterator[ApiStore]:
    store = open_api_store(f"sqlite:///{tmp_path / 'site.sqlite'}")
    yield store
    store.close()


def learn(store: ApiStore, *, is_full: bool, since: int = 0, a: float = 2.4e-6) -> None:
    with store.write() as connection:
        curve = StoredCurve(baseline_from_utc_ms=since, document={"a": a}, is_full=is_full)
        write_curve(connection, "P01", curve, 1_000)


def accept(store: ApiStore, since: int = 0, role: str = "engineer") -> bool:
    at_utc_ms = 9_000 if role == "engineer" else 10_000
    return accept_curve(store, "P01", since, at_utc_ms=at_utc_ms, role=role, note="by its data sheet")


def test_a_full_curve_is_accepted_once_and_the_first_time_stays(store: ApiStore) -> None:
    learn(store, is_full=True)
    assert accept(store)
    assert not accept(store, role="manager")
    found = acceptance_of(store, "P01", 0)
    assert found is not None
    assert (found.by_role, found.accepted_utc_ms, found.note) == ("engineer", 9_000, "by its data sheet")
    assert found.is_of_this_curve


def test_a_curve_that_still_learns_is_not_accepted(store: ApiStore) -> None:
    learn(store, is_full=False)
    assert not accept(store)
    assert acceptance_of(store, "P01", 0) is None


def test_where_there_is_no_curve_nothing_is_accepted(store: ApiStore) -> None:
    assert not accept(store)


def test_the_curve_of_the_next_baseline_is_accepted_anew(store: ApiStore) -> None:
    learn(store, is_full=True)
    accept(store)
    learn(store, is_full=True, since=3_600_000, a=2.2e-6)
    assert acceptance_of(store, "P01", 3_600_000) is None
    assert accept(store, since=3_600_000, role="manager")
    first = acceptance_of(store, "P01", 0)
    assert first is not None
    assert first.by_role == "engineer"


def test_acceptance_of_a_curve_that_was_made_anew_since_says_so(store: ApiStore) -> None:
    learn(store, is_full=True)
    accept(store)
    with store.write() as connection:
        connection.exec_driver_sql("DELETE FROM curve")
    learn(store, is_full=True, a=2.3e-6)
    found = acceptance_of(store, "P01", 0)
    assert found is not None
    assert not found.is_of_this_curve
    assert accept(store, role="manager")
    again = acceptance_of(store, "P01", 0)
    assert again is not None
    assert again.is_of_this_curve
