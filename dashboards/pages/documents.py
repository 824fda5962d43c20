"""The page of a pump's documents."""

from __future__ import annotations

from dashboards import addresses
from dashboards.document_views import DocumentsPage
from dashboards.pages.environment import render
from dashboards.wording import documents as words


def documents_page(page: DocumentsPage, most_mb: int) -> str:
    """Return the documents of one pump, with the form that takes another of at most so many megabytes."""
    return render(
        "documents.html",
        page.frame,
        addresses.documents_address(page.pump),
        page=page,
        words=words,
        most_mb=most_mb,
    )
