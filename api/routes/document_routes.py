"""A pump's documents: the page, the form that adds one, their content, and the same for programs."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form, HTTPException, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel

from api.answers import documents
from api.answers.document_content import LARGEST_MB, saved_name
from api.answers.source import Source
from api.routes.forms import Posted, PostedForm, Upload, answered
from api.routes.inputs import Answering, NamedPump, Number, Role, Units
from api.routes.json_routes import FOREIGN, NOT_FOUND
from api.routes.page_routes import page_response
from api.store.documents import Added, Removed, StoredDocument, content_of, document, documents_of
from collector.site import Pump
from dashboards import addresses
from dashboards import pages as html

router = APIRouter()
_NO_FILE = Upload(name="", content_type="", content=b"")


class DocumentAnswer(BaseModel):
    """What is known of a document; of one removed, when and by whom."""

    id: int
    pump: str
    title: str
    kind: str
    media_type: str
    size_bytes: int
    sha256: str | None
    added_utc: str
    added_by: str
    removed_utc: str | None
    removed_by: str | None


class AddedAnswer(BaseModel):
    """The document as it is kept; ``is_new`` is false where the same content was there already."""

    document: DocumentAnswer
    is_new: bool


class RemovedAnswer(BaseModel):
    """The line that stays; ``also_with`` names pumps that keep the same content."""

    document: DocumentAnswer
    also_with: list[str]
    is_wiped: bool


class Removal(BaseModel, extra="forbid"):
    """Who removes a document."""

    role: Role


async def _sent(request: Request) -> bytes:
    return await request.body()


Sent = Annotated[bytes, Depends(_sent)]


@router.get(addresses.DOCUMENTS, include_in_schema=False)
def shown(
    request: Request,
    source: Answering,
    pump: NamedPump,
    units: Units,
    told: Annotated[str, Query(max_length=40)] = "",
) -> HTMLResponse:
    """Show a pump's documents."""
    page = documents.documents_page(source, pump, units, told=told)
    return page_response(request, html.documents_page(page, LARGEST_MB))


@router.post(addresses.DOCUMENTS, include_in_schema=False)
def add(source: Answering, pump: NamedPump, units: Units, posted: Posted) -> Response:
    """Keep a document and show all of them again."""
    return answered(
        posted,
        lambda: _added(source, pump, posted),
        then=lambda added: addresses.documents_address(pump.name, documents.told_of_added(added)),
        again=lambda form: html.documents_page(
            documents.documents_page(source, pump, units, form), LARGEST_MB
        ),
    )


def _added(source: Source, pump: Pump, posted: PostedForm) -> Added:
    file = posted.uploads.get("file", _NO_FILE)
    return documents.keep_document(
        source,
        pump,
        file.content,
        file_name=file.name,
        title=posted.text("title"),
        kind=posted.text("kind"),
        role=posted.text("role"),
    )


@router.get(addresses.DOCUMENT, include_in_schema=False)
def content(source: Answering, id: Number) -> Response:
    """Give a document: a picture to look at, a PDF to save, which no browser of ours runs anything of."""
    stored = _kept(source, id)
    name = saved_name(stored.title, stored.media_type)
    way = "inline" if stored.media_type.startswith("image/") else "attachment"
    plain = name.encode("ascii", "replace").decode().replace("?", "_")
    return Response(
        content_of(source.api_store, id) or b"",
        media_type=stored.media_type,
        headers={
            "Content-Disposition": f"{way}; filename=\"{plain}\"; filename*=UTF-8''{quote(name)}",
            # What is removed must be gone, from the browser too.
            "Cache-Control": "no-store",
        },
    )


def _kept(source: Source, document_id: int) -> StoredDocument:
    stored = document(source.api_store, document_id)
    if stored is None or not stored.is_kept:
        raise HTTPException(404, f"There is no document {document_id}.")
    return stored


@router.post(addresses.DOCUMENT_REMOVE, include_in_schema=False)
def remove(
    source: Answering, id: Annotated[Number, Form()], role: Annotated[Role, Form()]
) -> RedirectResponse:
    """Remove a document for good and show those that are left."""
    removed = _removed(source, id, role)
    address = addresses.documents_address(removed.document.pump, documents.told_of_removed(removed))
    return RedirectResponse(address, status_code=303)


def _removed(source: Source, document_id: int, role: str) -> Removed:
    removed = documents.drop_document(source, document_id, role)
    if removed is None:
        raise HTTPException(404, f"There is no document {document_id}.")
    return removed


@router.get("/api/documents", tags=["documents"], responses=NOT_FOUND)
def listed(source: Answering, pump: NamedPump) -> list[DocumentAnswer]:
    """List a pump's documents, oldest first, and the lines of those removed."""
    rows = documents_of(source.api_store, pump.name)
    return [DocumentAnswer(**documents.plain_document(row)) for row in rows]


@router.post("/api/documents", tags=["documents"], responses={**NOT_FOUND, **FOREIGN})
def add_of_program(
    source: Answering,
    pump: NamedPump,
    sent: Sent,
    kind: Annotated[str, Query(max_length=40)],
    title: Annotated[str, Query(max_length=200)] = "",
    role: Annotated[str, Query(max_length=40)] = "technician",
) -> AddedAnswer:
    """Keep a document: the body is its content as it is, a PDF, PNG or JPEG of at most 20 MB."""
    added = documents.keep_document(
        source, pump, sent, file_name="document", title=title.strip(), kind=kind, role=role
    )
    answer = DocumentAnswer(**documents.plain_document(added.document))
    return AddedAnswer(document=answer, is_new=added.is_new)


@router.post("/api/documents/{document_id}/remove", tags=["documents"], responses={**NOT_FOUND, **FOREIGN})
def remove_of_program(source: Answering, document_id: Number, by: Removal) -> RemovedAnswer:
    """Remove a document for good; a line stays that says when and by whom."""
    removed = _removed(source, document_id, by.role)
    return RemovedAnswer(
        document=DocumentAnswer(**documents.plain_document(removed.document)),
        also_with=list(removed.also_with),
        is_wiped=removed.is_wiped,
    )
