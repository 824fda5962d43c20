"""A pump's documents on disk: kept once however often they are added, and really gone once removed."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Row, delete, exists, insert, select, update

from api.store.api_store import ApiStore
from api.store.tables import DOCUMENT, DOCUMENT_CONTENT
from collector.store.dialect import wipe_log_of_writes, wipe_what_is_deleted

_LISTED: Final = tuple(DOCUMENT.c)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewDocument:
    """A document before it is kept: ``media_type`` is what its content was found to be."""

    pump: str
    title: str
    kind: str
    media_type: str
    content: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredDocument:
    """A document that is kept, or the line that stays of one removed: no title, no sum, and when by whom."""

    document_id: int
    pump: str
    title: str
    kind: str
    media_type: str
    size_bytes: int
    sha256: str | None
    added_utc_ms: int
    added_by: str
    removed_utc_ms: int | None
    removed_by: str | None

    @property
    def is_kept(self) -> bool:
        """Whether its content is still there."""
        return self.removed_utc_ms is None


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """The document as it is kept; ``is_new`` is false where the pump had the same content already."""

    document: StoredDocument
    is_new: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Removed:
    """The line that stays. ``also_with`` names pumps that keep the same content: theirs is still there.

    ``is_wiped`` is false while somebody reads the database: its log of writes may hold the bytes till later.
    """

    document: StoredDocument
    also_with: tuple[str, ...]
    is_wiped: bool


def add_document(store: ApiStore, new: NewDocument, at_utc_ms: int, role: str) -> Added:
    """Keep a document with its pump; the same content twice is one document, as it was named first."""
    sum_of_it = hashlib.sha256(new.content).hexdigest()
    with store.write() as connection:
        same = (DOCUMENT.c.pump == new.pump) & (DOCUMENT.c.sha256 == sum_of_it)
        before = connection.execute(select(*_LISTED).where(same)).first()
        if before is not None:
            return Added(document=_document(before), is_new=False)
        _keep_content(connection, sum_of_it, new.content)
        connection.execute(
            insert(DOCUMENT).values(
                pump=new.pump,
                title=new.title,
                kind=new.kind,
                media_type=new.media_type,
                size_bytes=len(new.content),
                sha256=sum_of_it,
                added_utc_ms=at_utc_ms,
                added_by=role,
            )
        )
        return Added(document=_document(connection.execute(select(*_LISTED).where(same)).one()), is_new=True)


def _keep_content(connection: Connection, sum_of_it: str, content: bytes) -> None:
    if not connection.execute(select(exists().where(DOCUMENT_CONTENT.c.sha256 == sum_of_it))).scalar():
        connection.execute(insert(DOCUMENT_CONTENT).values(sha256=sum_of_it, content=content))


def documents_of(store: ApiStore, pump: str) -> tuple[StoredDocument, ...]:
    """Return a pump's documents, oldest first, and the lines of those removed."""
    query = select(*_LISTED).where(DOCUMENT.c.pump == pump).order_by(DOCUMENT.c.document_id)
    with store.database.reading() as connection:
        return tuple(_document(row) for row in connection.execute(query))


def document(store: ApiStore, document_id: int) -> StoredDocument | None:
    """Return the document of this number, or the line that stays of it."""
    with store.database.reading() as connection:
        row = connection.execute(select(*_LISTED).where(DOCUMENT.c.document_id == document_id)).first()
    return None if row is None else _document(row)


def content_of(store: ApiStore, document_id: int) -> bytes | None:
    """Return the bytes of a document, ``None`` if it is removed or there is none of this number."""
    query = (
        select(DOCUMENT_CONTENT.c.content)
        .join(DOCUMENT, DOCUMENT.c.sha256 == DOCUMENT_CONTENT.c.sha256)
        .where(DOCUMENT.c.document_id == document_id)
    )
    with store.database.reading() as connection:
        return connection.execute(query).scalar()


def remove_document(store: ApiStore, document_id: int, at_utc_ms: int, role: str) -> Removed | None:
    """Delete a document's title and content for good; ``None`` when none of this number is kept."""
    with store.write() as connection:
        row = connection.execute(select(*_LISTED).where(DOCUMENT.c.document_id == document_id)).first()
        if row is None or row.sha256 is None:
            return None
        wipe_what_is_deleted(connection)
        gone = {"title": "", "sha256": None, "removed_utc_ms": at_utc_ms, "removed_by": role}
        connection.execute(update(DOCUMENT).where(DOCUMENT.c.document_id == document_id).values(gone))
        others = select(DOCUMENT.c.pump).where(DOCUMENT.c.sha256 == row.sha256).order_by(DOCUMENT.c.pump)
        also_with = tuple(connection.execute(others).scalars())
        if not also_with:
            connection.execute(delete(DOCUMENT_CONTENT).where(DOCUMENT_CONTENT.c.sha256 == row.sha256))
    left = document(store, document_id)
    assert left is not None
    return Removed(document=left, also_with=also_with, is_wiped=wipe_log_of_writes(store.database.engine))


def _document(row: Row[Any]) -> StoredDocument:
    return StoredDocument(**row._mapping)
