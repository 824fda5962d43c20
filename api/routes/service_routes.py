"""The service log: its page, the forms that add to it, and the same for programs."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import BaseModel

from api.answers import service_log
from api.answers.source import Source
from api.routes.forms import Posted, PostedForm, answered
from api.routes.inputs import Answering, NamedPump, Note, Number, Role, Units
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
    finding_id: Number | None = None


class Mistaken(BaseModel, extra="forbid"):
    """A mistaken entry that is taken back, by whom and why."""

    number: Number
    note: Note
    role: Role = "technician"


class WorkAnswer(BaseModel):
    """An entry of a pump's service log.

    ``effect`` is what it did: a sentence, ``measured`` by quantity (levels and relative changes [-] with 95 %
    intervals), and ``answered``, what became of the findings that stood. ``taken_back_utc`` is set on a
    mistaken entry, which then holds no longer.
    """

    number: int
    pump: str
    at_utc: str
    what: str
    new_baseline: bool
    by_role: str
    note: str
    finding_id: int | None
    taken_back_utc: str | None
    effect: dict[str, Any] | None


@router.get(addresses.SERVICE, include_in_schema=False)
def service(
    request: Request, source: Answering, pump: NamedPump, units: Units, what: Note = "", note: Note = ""
) -> HTMLResponse:
    """Show what was done to a pump, and what it did; the form may come with work that is asked for."""
    asked_for = FormView(values={"what": what, "note": note})
    return page_response(request, html.service_page(service_log.service_page(source, pump, units, asked_for)))


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
        finding=posted.text("finding"),
    )


@router.post(addresses.SERVICE_TAKE_BACK, include_in_schema=False)
def take_back(source: Answering, pump: NamedPump, units: Units, posted: Posted) -> Response:
    """Take a mistaken entry back and show the log again."""
    return answered(
        posted,
        lambda: service_log.take_back(
            source,
            pump,
            number=posted.text("number"),
            role=posted.text("back_role"),
            note=posted.text("why"),
        ),
        then=lambda _: addresses.service_address(pump.name),
        again=lambda back: html.service_page(service_log.service_page(source, pump, units, back=back)),
    )


@router.get("/api/service", tags=["service"], responses=NOT_FOUND)
def log(source: Answering, pump: NamedPump) -> list[WorkAnswer]:
    """List what was done to a pump, oldest first, and what it did."""
    return [WorkAnswer(**entry) for entry in service_log.plain_log(source, pump)]


@router.post("/api/service", tags=["service"], responses={**NOT_FOUND, **FOREIGN})
def record_of_program(source: Answering, pump: NamedPump, work: Work) -> WorkAnswer:
    """Record work that was done on a pump."""
    finding = "" if work.finding_id is None else str(work.finding_id)
    said = work.model_dump(exclude={"finding_id"})
    done = service_log.record_work(source, pump, **said, finding=finding)
    return _answer(source, pump, done.event_id)


@router.post("/api/service/take-back", tags=["service"], responses={**NOT_FOUND, **FOREIGN})
def take_back_of_program(source: Answering, pump: NamedPump, mistaken: Mistaken) -> WorkAnswer:
    """Take a mistaken entry back; it stays in the history."""
    service_log.take_back(source, pump, number=str(mistaken.number), role=mistaken.role, note=mistaken.note)
    return _answer(source, pump, mistaken.number)


def _answer(source: Source, pump: Pump, number: int) -> WorkAnswer:
    entry = service_log.entry_of(source, pump, number)
    return WorkAnswer(**service_log.plain_entry(source, pump, entry))
