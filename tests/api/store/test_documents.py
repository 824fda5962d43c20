"""A pump's documents in a real SQLite file: once, whole, and really gone once removed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from api.store.api_store import ApiStore, open_api_store
from api.store.documents import (
    NewDocument,
    add_document,
    content_of,
    document,
    documents_of,
    remove_document,
)

MARK = b"a face that nobody agreed to show"
PHOTO = b"\x89PNG" + MARK * 400


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "site.sqlite"


@pytest.fixture
def store(file: Path) -> Iterator[ApiStore]:
    store = open_api_store(f"sqlite:///{file}")
    yield store
    store.close()


def new(pump: str = "P01", content: bytes = PHOTO, title: str = "Plant room") -> NewDocument:
    return NewDocument(pump=pump, title=title, kind="photo", media_type="image/png", content=content)


def add(store: ApiStore, **words: str) -> int:
    return add_document(store, new(**words), 1_000, "technician").document.document_id  # type: ignore[arg-type]


def all_bytes(file: Path) -> bytes:
    """Return what stands in the file and in its log of writes: only once every store is closed."""
    return b"".join(path.read_bytes() for path in file.parent.glob(f"{file.name}*"))


def test_a_document_comes_back_as_it_was(store: ApiStore) -> None:
    number = add(store)
    kept = document(store, number)
    assert kept is not None
    assert (kept.pump, kept.title, kept.kind, kept.size_bytes) == ("P01", "Plant room", "photo", len(PHOTO))
    assert (kept.added_utc_ms, kept.added_by, kept.is_kept) == (1_000, "technician", True)
    assert content_of(store, number) == PHOTO


def test_the_same_content_twice_is_one_document_as_it_was_named_first(store: ApiStore) -> None:
    first = add_document(store, new(), 1_000, "technician")
    again = add_document(store, new(title="Another name"), 2_000, "engineer")
    assert (first.is_new, again.is_new) == (True, False)
    assert again.document == first.document
    assert documents_of(store, "P01") == (first.document,)


def test_two_pumps_may_have_the_same_manual_and_its_bytes_are_kept_once(store: ApiStore) -> None:
    add(store)
    add(store, pump="P02")
    with store.database.reading() as connection:
        kept = connection.exec_driver_sql("SELECT count(*) FROM document_content").scalar()
    assert (kept, len(documents_of(store, "P01")), len(documents_of(store, "P02"))) == (1, 1, 1)


def test_what_is_removed_is_in_no_byte_of_the_file(store: ApiStore, file: Path) -> None:
    number = add(store, title="Somebody by name")
    store.close()
    assert MARK in all_bytes(file)
    removed = remove_document(store, number, 5_000, "manager")
    assert removed is not None
    assert removed.is_wiped
    store.close()
    left = all_bytes(file)
    assert MARK not in left
    assert b"Somebody by name" not in left


def test_of_what_is_removed_a_line_stays_that_says_when_and_by_whom(store: ApiStore) -> None:
    number = add(store, title="Somebody by name")
    remove_document(store, number, 5_000, "manager")
    (line,) = documents_of(store, "P01")
    assert (line.kind, line.removed_utc_ms, line.removed_by, line.is_kept) == (
        "photo",
        5_000,
        "manager",
        False,
    )
    assert (line.title, line.sha256) == ("", None)
    assert content_of(store, number) is None


def test_what_another_pump_keeps_too_stays_there_and_is_named(store: ApiStore) -> None:
    number, other = add(store), add(store, pump="P02")
    removed = remove_document(store, number, 5_000, "manager")
    assert removed is not None
    assert removed.also_with == ("P02",)
    assert content_of(store, other) == PHOTO


def test_a_document_may_be_added_again_after_it_was_removed_and_removed_again(store: ApiStore) -> None:
    remove_document(store, add(store), 5_000, "manager")
    second = add(store)
    assert content_of(store, second) == PHOTO
    remove_document(store, second, 6_000, "manager")
    assert [line.is_kept for line in documents_of(store, "P01")] == [False, False]


def test_nothing_is_removed_twice_and_nothing_that_is_not_there(store: ApiStore) -> None:
    number = add(store)
    assert remove_document(store, number, 5_000, "manager") is not None
    assert remove_document(store, number, 6_000, "engineer") is None
    assert remove_document(store, 99, 6_000, "engineer") is None
    assert document(store, 99) is None


def test_while_somebody_reads_it_is_said_that_the_log_still_holds_it(file: Path) -> None:
    store = open_api_store(f"sqlite:///{file}")
    impatient = open_api_store(f"sqlite:///{file}")
    try:
        number = add(store)
        with store.database.reading() as connection:
            connection.exec_driver_sql("SELECT count(*) FROM document")
            with impatient.database.engine.connect() as other:
                other.exec_driver_sql("PRAGMA busy_timeout = 50")
            removed = remove_document(impatient, number, 5_000, "manager")
        assert removed is not None
        assert not removed.is_wiped
    finally:
        impatient.close()
        store.close()
