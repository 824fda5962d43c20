"""The sheet of a pump's first day, its figure, and the acceptance of its curve."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel

from api.answers import commissioning
from api.routes.figure_routes import Scheme
from api.routes.forms import Posted, answered
from api.routes.inputs import Answering, NamedPump, Note, Role, Units
from api.routes.json_routes import FOREIGN, NOT_FOUND
from api.routes.page_routes import page_response
from dashboards import addresses, figures
from dashboards import pages as html

router = APIRouter()


class By(BaseModel, extra="forbid"):
    """Who accepts a curve."""

    role: Role
    note: Note = ""


@router.get(addresses.HANDOVER, include_in_schema=False)
def handover(request: Request, source: Answering, pump: NamedPump, units: Units) -> HTMLResponse:
    """Show a pump's first-day sheet."""
    return page_response(request, html.handover_page(commissioning.handover_page(source, pump, units)))


@router.post(addresses.HANDOVER, include_in_schema=False)
def accept(source: Answering, pump: NamedPump, units: Units, posted: Posted) -> Response:
    """Accept the learned curve and show the sheet again."""
    return answered(
        posted,
        lambda: commissioning.accept_baseline(
            source, pump, role=posted.text("role"), note=posted.text("note")
        ),
        then=lambda _: addresses.handover_address(pump.name),
        again=lambda form: html.handover_page(commissioning.handover_page(source, pump, units, form)),
    )


@router.get(f"{addresses.FIGURE}/first", include_in_schema=False)
def first(source: Answering, pump: NamedPump, units: Units, scheme: Scheme = "light") -> dict[str, Any]:
    """Return the first week's readings on the pump's curves."""
    drawn = figures.head_figure(commissioning.first_readings(source, pump, units), scheme).answer()
    # The empty dot of the live value, which a script moves elsewhere, has nothing to say of the first week.
    return drawn | {"data": [trace for trace in drawn["data"] if trace.get("meta") != "now"]}


@router.get("/api/handover", tags=["commissioning"], responses=NOT_FOUND)
def handover_of_program(source: Answering, pump: NamedPump) -> dict[str, Any]:
    """Give a pump's first-day sheet: what the site file states, its baseline, and what is watched."""
    return commissioning.plain_handover(source, pump)


@router.post("/api/handover/accept", tags=["commissioning"], responses={**NOT_FOUND, **FOREIGN})
def accept_of_program(source: Answering, pump: NamedPump, by: By) -> dict[str, Any]:
    """Accept the learned curve as the pump's own; refused while it is not full, or accepted."""
    commissioning.accept_baseline(source, pump, role=by.role, note=by.note)
    return commissioning.plain_handover(source, pump)
