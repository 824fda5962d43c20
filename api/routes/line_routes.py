"""How the lines are: as a page, as figures, and as JSON for programs."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, HTTPException, Query, Request
from fastapi.responses import HTMLResponse

from api.answers.bus_health import lines_page
from api.answers.line_picture import line_picture
from api.routes.inputs import Answering, Name, Units
from api.routes.lines_json import LinesAnswer
from api.routes.page_routes import page_response
from dashboards import addresses
from dashboards import pages as html
from dashboards.figures.line import line_figure

router = APIRouter()
RangeName = Annotated[Literal["day", "week", "month"], Query(alias="range")]


@router.get(addresses.LINES, include_in_schema=False)
def lines(request: Request, source: Answering, units: Units, within: RangeName = "day") -> HTMLResponse:
    """Show each line: its use, errors by kind and unit, reply times, last good readings."""
    return page_response(request, html.lines_page(lines_page(source, within, units)))


@router.get(f"{addresses.FIGURE}/line", include_in_schema=False)
def figure(
    source: Answering, bus: Name, within: RangeName = "day", scheme: Literal["light", "dark"] = "light"
) -> dict[str, Any]:
    """Return one line over time as a figure."""
    found = next((each for each in source.site.buses if each.name == bus), None)
    if found is None:
        raise HTTPException(404, f"The site file knows no bus {bus!r}.")
    return line_figure(line_picture(source, found, within), scheme).answer()


@router.get("/api/lines", tags=["site"])
def lines_json(source: Answering, within: RangeName = "day") -> LinesAnswer:
    """Tell how each bus is used and how its units answer, over the last day, week or 28 days."""
    return LinesAnswer.model_validate(lines_page(source, within))
