"""A pump's documents: taken, listed, given back and removed."""

from __future__ import annotations

from typing import Any, Final

from api.answers.document_content import LONGEST_TITLE, media_type_of, title_of
from api.answers.findings import iso_utc
from api.answers.mistakes import Gathered
from api.answers.pages import page_frame
from api.answers.source import Source
from api.store.documents import (
    Added,
    NewDocument,
    Removed,
    StoredDocument,
    add_document,
    documents_of,
    remove_document,
)
from collector.site import Pump
from collector.toml_file import did_you_mean
from dashboards.document_views import DocumentRow, DocumentsPage
from dashboards.form_views import FormView
from dashboards.views import UnitSystem
from dashboards.wording.documents import KINDS
from dashboards.wording.terms import ROLES

MOST_OF_A_PUMP: Final = 200
"""More than a pump ever has; it keeps a script that goes wrong from filling the disk (our own choice)."""


def keep_document(
    source: Source, pump: Pump, content: bytes, *, file_name: str, title: str, kind: str, role: str
) -> Added:
    """Keep a document with its pump; without a title it has the file's name.

    Raises
    ------
    FieldMistakes
        With a line for each of file, title, kind and role that cannot be right; nothing was kept.
    """
    gathered = Gathered()
    media_type = gathered.take("file", lambda: media_type_of(content), "")
    named = title_of(title, file_name)
    if len(named) > LONGEST_TITLE or not named.isprintable():
        gathered.refuse("title", f"should be one line of at most {LONGEST_TITLE} letters")
    gathered.take("kind", lambda: must_be_known("kind of document", kind, KINDS), None)
    gathered.take("role", lambda: must_be_known("role", role, ROLES), None)
    if sum(row.is_kept for row in documents_of(source.api_store, pump.name)) >= MOST_OF_A_PUMP:
        gathered.refuse("file", f"would be more than the {MOST_OF_A_PUMP} documents that a pump may have")
    gathered.must_be_right()
    new = NewDocument(pump=pump.name, title=named, kind=kind, media_type=media_type, content=content)
    return add_document(source.api_store, new, source.clock.now_utc_ms(), role)


def must_be_known(what: str, word: str, known: dict[str, str]) -> None:
    """Refuse a word that is none of these codes; ValueError in words that go after the field's name."""
    if not word:
        raise ValueError(f"is missing; expected one of {', '.join(known)}")
    if word not in known:
        raise ValueError(f"{word!r} is no {what}{did_you_mean(word, list(known))}")


def drop_document(source: Source, document_id: int, role: str) -> Removed | None:
    """Remove a document for good; ``None`` when none of this number is kept.

    Raises
    ------
    FieldMistakes
        When there is no such role.
    """
    gathered = Gathered()
    gathered.take("role", lambda: must_be_known("role", role, ROLES), None)
    gathered.must_be_right()
    return remove_document(source.api_store, document_id, source.clock.now_utc_ms(), role)


def told_of_added(added: Added) -> str:
    """Return the code of what a page says after a document was sent."""
    return "added" if added.is_new else "same"


def told_of_removed(removed: Removed) -> str:
    """Return the code of what a page says after a document was removed."""
    if removed.also_with:
        return "removed_here"
    return "removed" if removed.is_wiped else "removed_soon"


def documents_page(
    source: Source, pump: Pump, units: UnitSystem, form: FormView | None = None, told: str = ""
) -> DocumentsPage:
    """Return the page of a pump's documents."""
    return DocumentsPage(
        frame=page_frame(source, units),
        pump=pump.name,
        rows=document_rows(source, pump),
        form=form or FormView(),
        told=told,
    )


def document_rows(source: Source, pump: Pump) -> tuple[DocumentRow, ...]:
    """Return a pump's documents and the lines of those removed, newest first."""
    return tuple(_row(stored) for stored in reversed(documents_of(source.api_store, pump.name)))


def _row(stored: StoredDocument) -> DocumentRow:
    return DocumentRow(
        identity=stored.document_id,
        title=stored.title,
        kind=stored.kind,
        media_type=stored.media_type,
        size_bytes=stored.size_bytes,
        added_utc_ms=stored.added_utc_ms,
        added_by=stored.added_by,
        removed_utc_ms=stored.removed_utc_ms,
        removed_by=stored.removed_by or "",
    )


def plain_document(stored: StoredDocument) -> dict[str, Any]:
    """Return a document as programs read it: what is known of it, not its content."""
    return {
        "id": stored.document_id,
        "pump": stored.pump,
        "title": stored.title,
        "kind": stored.kind,
        "media_type": stored.media_type,
        "size_bytes": stored.size_bytes,
        "sha256": stored.sha256,
        "added_utc": iso_utc(stored.added_utc_ms),
        "added_by": stored.added_by,
        "removed_utc": iso_utc(stored.removed_utc_ms),
        "removed_by": stored.removed_by,
    }
