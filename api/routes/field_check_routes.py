"""Field checks: their page, the form that adds one, and the same for programs."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from fastapi.responses import HTMLResponse, Response

from api.answers.field_check_results import field_check_views
from api.answers.field_check_typed import FIELDS
from api.answers.field_checks import field_check_page, plain_field_check, record_field_check
from api.routes.forms import Posted, answered
from api.routes.inputs import Answering, NamedPump, Units
from api.routes.json_routes import FOREIGN, NOT_FOUND
from api.routes.page_routes import page_response
from dashboards import addresses
from dashboards import pages as html

router = APIRouter()
TypedFields = Annotated[
    dict[str, str], Body(description=f"what was typed, by field, units as written: {', '.join(FIELDS)}")
]


@router.get(addresses.FIELD_CHECK, include_in_schema=False)
def field_checks(request: Request, source: Answering, pump: NamedPump, units: Units) -> HTMLResponse:
    """Show what was measured at a pump, and what it says."""
    return page_response(request, html.field_check_page(field_check_page(source, pump, units)))


@router.post(addresses.FIELD_CHECK, include_in_schema=False)
def record(source: Answering, pump: NamedPump, units: Units, posted: Posted) -> Response:
    """Record a check and show what it says."""
    return answered(
        posted,
        lambda: record_field_check(source, pump, {name: posted.text(name) for name in FIELDS}),
        then=lambda _: addresses.field_check_address(pump.name),
        again=lambda form: html.field_check_page(field_check_page(source, pump, units, form)),
    )


@router.get("/api/field-checks", tags=["field checks"], responses=NOT_FOUND)
def listed(source: Answering, pump: NamedPump) -> list[dict[str, Any]]:
    """List a pump's field checks, oldest first: as typed, worked out, and what each says, in SI units."""
    return [plain_field_check(pump, view) for view in field_check_views(source, pump)]


@router.post("/api/field-checks", tags=["field checks"], responses={**NOT_FOUND, **FOREIGN})
def record_of_program(source: Answering, pump: NamedPump, typed: TypedFields) -> dict[str, Any]:
    """Record a field check; ``{"suction": "12 psi", "discharge": "31.5 psi", ...}``."""
    return plain_field_check(pump, record_field_check(source, pump, typed))
