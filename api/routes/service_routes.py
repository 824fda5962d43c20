"""The service log: its page, the form that adds to it, and the same for programs."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel

from api.answers import service_log
from api.answers.source import Source
from api.routes.forms import Posted, PostedForm, answered
from api.routes.inputs import Answering, NamedPump, Note, Role, Units
from api.routes.json_routes import FOREIGN, NOT_FOUND
from api.routes.page_routes import page_response
from api.store.service_events import ServiceRecord
from collector.site import Pump
from dashboards import addresses
from dashboards import pages as html
from dashboards.form_views import FormView

router = APIRouter()


class Work(BaseModel, extra="forbid"):
    """Work that was done on a pump; ``at`` is ISO 8601, without an offset on the site's clock."""

    what: str
    at: str
    new_baseline: bool = False
    role: Role = "technician"
    note: Note = ""


class WorkAnswer(BaseModel):
    """An entry of a pump's service log."""

    pump: str
    at_utc: str
    what: str
    new_baseline: bool
    by_role: str
    note: str


@router.get(addresses.SERVICE, include_in_schema=False)
def service(
    request: Request, source: Answering, pump: NamedPump, units: Units, what: Note = "", note: Note = ""
) -> HTMLResponse:
    """Show what was done to a pump; the form may come with work that is asked for filled in."""
    filled = FormView(values={"what": what, "note": note})
    return page_response(request, html.service_page(service_log.service_page(source, pump, units, filled)))


@router.post(addresses.SERVICE, include_in_schema=False)
def record(source: Answering, pump: NamedPump, units: Units, posted: Posted) -> Response:
    """Record work and show the log again."""
    return answered(
        posted,
        lambda: _recorded(source, pump, posted),
        then=lambda _: addresses.service_address(pump.name),
        again=lambda form: html.service_page(service_log.service_page(source, pump, units, form)),
    )


def _recorded(source: Source, pump: Pump, posted: PostedForm) -> ServiceRecord:
    return service_log.record_work(
        source,
        pump,
        what=posted.text("what"),
        at=posted.text("at"),
        new_baseline=posted.is_ticked("new_baseline"),
        role=posted.text("role"),
        note=posted.text("note"),
    )


@router.get("/api/service", tags=["service"], responses=NOT_FOUND)
def log(source: Answering, pump: NamedPump) -> list[WorkAnswer]:
    """List what was done to a pump, oldest first."""
    return [WorkAnswer(**entry) for entry in service_log.plain_log(source, pump)]


@router.post("/api/service", tags=["service"], responses={**NOT_FOUND, **FOREIGN})
def record_of_program(source: Answering, pump: NamedPump, work: Work) -> WorkAnswer:
    """Record work that was done on a pump."""
    record = service_log.record_work(source, pump, **work.model_dump())
    return WorkAnswer(**service_log.plain_record(pump, record))
