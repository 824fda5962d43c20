"""The labels of a site's pumps."""

from __future__ import annotations

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse

from api.answers.labels import label_page
from api.routes.inputs import Answering, Name, Units
from api.routes.page_routes import page_response
from dashboards import addresses
from dashboards import pages as html

router = APIRouter(include_in_schema=False)


@router.get(addresses.LABEL)
def label(request: Request, source: Answering, units: Units, pump: Name | None = None) -> HTMLResponse:
    """Show a pump's label, or those of all pumps."""
    found = None if pump is None else source.pump(pump)
    if pump is not None and found is None:
        raise HTTPException(404, f"The site file knows no pump {pump!r}.")
    return page_response(request, html.label_page(label_page(source, found, units)))
