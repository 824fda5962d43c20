"""Work that falls due: its page, and the same for programs."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse
from pydantic import BaseModel

from api.answers.source import Source
from api.answers.upkeep import plain_row, upkeep
from api.answers.upkeep_page import upkeep_page
from api.routes.inputs import Answering, Name, Units, pump_of
from api.routes.json_routes import NOT_FOUND
from api.routes.page_routes import page_response
from collector.site import Pump
from dashboards import addresses
from dashboards import pages as html

router = APIRouter()


class GreaseAnswer(BaseModel):
    """Grease for one bearing, by the rule of the trade."""

    place: str
    grams: float


class UpkeepAnswer(BaseModel):
    """A task of a pump; ``used`` is the share of the interval that runs out first."""

    pump: str
    task: str
    name: str
    state: str
    due_by: str
    used: float | None
    run_h: float | None
    every_run_h: float | None
    every_days: float | None
    standing_days: float | None
    unseen_h: float
    counted_since_utc: str | None
    done_utc: str | None
    done_by: str
    standing_since_utc: str | None
    due_about_utc: str | None
    grease: list[GreaseAnswer]
    record_as: str


def _perhaps_a_pump(source: Answering, pump: Name | None = None) -> Pump | None:
    return None if pump is None else pump_of(source, pump)


PerhapsPump = Annotated[Pump | None, Depends(_perhaps_a_pump)]


@router.get(addresses.UPKEEP, include_in_schema=False)
def page(request: Request, source: Answering, pump: PerhapsPump, units: Units) -> HTMLResponse:
    """Show what is due, at one pump or at all."""
    return page_response(request, html.upkeep_page(upkeep_page(source, pump, units)))


@router.get("/api/upkeep", tags=["upkeep"], responses=NOT_FOUND)
def listed(source: Answering, pump: PerhapsPump) -> list[UpkeepAnswer]:
    """List the tasks of one pump or of all, what is due first."""
    return [UpkeepAnswer.model_validate(plain_row(row)) for row in upkeep(source, _pumps(source, pump))]


def _pumps(source: Source, pump: Pump | None) -> tuple[Pump, ...]:
    return source.site.pumps if pump is None else (pump,)
