"""The page that explains a week, its figure, and the hour rows that every number of a week is a sum of."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, HTTPException, Query, Request, Response
from fastapi.responses import HTMLResponse

from api.answers import week_pages
from api.answers.hours import hours_csv
from api.answers.source import Source
from api.routes.inputs import LARGEST_NUMBER, Answering, Moment, Name, NamedPump, Units, milliseconds
from api.routes.json_routes import NOT_FOUND
from api.routes.page_routes import page_response
from collector.site import Pump
from dashboards import addresses
from dashboards import pages as html
from dashboards.figures.waterfall import waterfall_figure
from dashboards.why_views import Against

router = APIRouter()

MOST_HOURS = 366 * 24
Week = Annotated[int, Query(ge=0, le=LARGEST_NUMBER)]


def pump_or_all(source: Answering, pump: Name | None = None) -> Pump | None:
    """Return the pump named in the query, ``None`` for all; 404 when the site has none of this name."""
    found = None if pump is None else source.pump(pump)
    if pump is not None and found is None:
        raise HTTPException(404, f"The site file knows no pump {pump!r}.")
    return found


OnePumpOrAll = Annotated[Pump | None, Depends(pump_or_all)]


@router.get(addresses.WHY, include_in_schema=False)
def why(
    request: Request, source: Answering, units: Units, pump: OnePumpOrAll, week: Week | None = None
) -> HTMLResponse:
    """Show why a week's energy per volume changed, and what it is worth."""
    page = week_pages.why_page(source, pump, week, units)
    if page is None:
        raise HTTPException(404, "There are no readings of this week.")
    return page_response(request, html.why_page(page))


@router.get(f"{addresses.FIGURE}/why", include_in_schema=False)
def figure(
    source: Answering,
    units: Units,
    pump: OnePumpOrAll,
    week: Week,
    against: Against,
    scheme: Literal["light", "dark"] = "light",
) -> dict[str, Any]:
    """Return a week held against another period, part by part."""
    picture = week_pages.why_picture(source, pump, week, against, units)
    if picture is None:
        raise HTTPException(404, "There are no readings of this week.")
    return waterfall_figure(picture, scheme).answer()


@router.get(
    addresses.HOURS,
    tags=["energy"],
    response_class=Response,
    responses={
        **NOT_FOUND,
        200: {"content": {"text/csv": {}}, "description": "hour rows, units in the header"},
    },
)
def hours(source: Answering, pump: NamedPump, start: Moment, end: Moment) -> Response:
    """Give a pump's hour rows from ``start`` up to ``end`` (exclusive) as CSV in SI units, at most a year."""
    first, last = milliseconds(start), milliseconds(end)
    if last - first > MOST_HOURS * 3_600_000:
        raise HTTPException(422, "start and end should be no more than 366 days apart")
    return _attached(source, pump, first, last)


def _attached(source: Source, pump: Pump, start_utc_ms: int, end_utc_ms: int) -> Response:
    headers = {"Content-Disposition": 'attachment; filename="hours.csv"', "Cache-Control": "no-store"}
    text = hours_csv(source, pump, start_utc_ms, end_utc_ms)
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)
