"""Field checks are kept as they were typed, and a correction stands beside what it corrects."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from api.store.api_store import ApiStore, open_api_store
from api.store.field_checks import FieldCheck

CHECK = FieldCheck(
    at_utc_ms=1_760_000_000_000,
    recorded_utc_ms=1_760_000_600_000,
    by_role="technician",
    note="gauge 3, lent by the workshop",
    typed={"suction": "12 psi", "discharge": "31.5 psi"},
    computed={"head_m": 13.72, "sd_m": 0.2},
)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[ApiStore]:
    opened = open_api_store(f"sqlite:///{tmp_path / 'site.sqlite'}")
    yield opened
    opened.close()


def test_a_check_comes_back_word_for_word(store: ApiStore) -> None:
    number = store.add_field_check("P01", CHECK)
    (stored,) = store.field_checks("P01")
    assert (stored.check_id, stored.check, stored.corrected_by) == (number, CHECK, None)


def test_a_check_is_one_pumps_own(store: ApiStore) -> None:
    store.add_field_check("P01", CHECK)
    assert store.field_checks("P02") == ()


def test_a_correction_deletes_nothing(store: ApiStore) -> None:
    first = store.add_field_check("P01", CHECK)
    second = store.add_field_check("P01", replace(CHECK, typed={"suction": "21 psi"}, corrects=first))
    assert [(each.check_id, each.corrected_by) for each in store.field_checks("P01")] == [
        (first, second),
        (second, None),
    ]


def test_checks_are_in_the_order_of_the_visits_not_of_their_typing(store: ApiStore) -> None:
    store.add_field_check("P01", CHECK)
    store.add_field_check("P01", replace(CHECK, at_utc_ms=CHECK.at_utc_ms - 86_400_000))
    times = [each.check.at_utc_ms for each in store.field_checks("P01")]
    assert times == sorted(times)


def test_a_number_that_is_none_is_never_written(store: ApiStore) -> None:
    with pytest.raises(ValueError, match="JSON"):
        store.add_field_check("P01", replace(CHECK, computed={"head_m": float("nan")}))
    assert store.field_checks("P01") == ()
