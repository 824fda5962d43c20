"""Pages as HTML, the newest values for them, and the one thing a person may change."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, HTTPException, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from api.answers import pages, week_pages
from api.answers.pictures import duty_now
from api.answers.pump_row import pump_row
from api.routes.inputs import LARGEST_NUMBER, Answering, Name, Note, Number, Role, Units
from dashboards import addresses
from dashboards import pages as html

router = APIRouter(include_in_schema=False)


def page_response(request: Request, text: str) -> HTMLResponse:
    """Return a page, never to be cached, with the display units remembered that its address chooses."""
    response = HTMLResponse(text, headers={"Cache-Control": "no-store"})
    chosen = request.query_params.get("units")
    if chosen in ("SI", "US"):
        response.set_cookie(
            addresses.UNITS_COOKIE, chosen, max_age=365 * 86_400, samesite="lax", httponly=True
        )
    return response


@router.get(addresses.SITE)
def site(request: Request, source: Answering, units: Units) -> HTMLResponse:
    """Show all pumps, what needs attention first."""
    return page_response(request, html.site_page(pages.site_page(source, units)))


@router.get(addresses.PUMP)
def pump(request: Request, source: Answering, units: Units, name: Name) -> HTMLResponse:
    """Show one pump."""
    found = source.pump(name)
    if found is None:
        raise HTTPException(404, f"The site file knows no pump {name!r}.")
    return page_response(request, html.pump_page(pages.pump_page(source, found, units)))


@router.get(addresses.FINDING)
def finding(request: Request, source: Answering, units: Units, id: Number) -> HTMLResponse:
    """Show one finding."""
    page = pages.finding_page(source, id, units)
    if page is None:
        raise HTTPException(404, f"There is no finding {id}.")
    return page_response(request, html.finding_page(page))


@router.post(addresses.ACKNOWLEDGE)
def acknowledge(
    source: Answering,
    id: Annotated[Number, Form()],
    role: Annotated[Role, Form()],
    note: Annotated[Note, Form()] = "",
) -> RedirectResponse:
    """Note that somebody has seen a finding, and show it again."""
    if not source.api_store.acknowledge(id, source.clock.now_utc_ms(), role, note):
        raise HTTPException(404, f"There is no finding {id}.")
    return RedirectResponse(addresses.finding_address(id), status_code=303)


@router.get(addresses.WEEK)
def week(
    request: Request,
    source: Answering,
    units: Units,
    start: Annotated[int | None, Query(ge=0, le=LARGEST_NUMBER)] = None,
) -> HTMLResponse:
    """Show the table of one week."""
    page = week_pages.week_page(source, start, units)
    if page is None:
        raise HTTPException(404, "There are no readings of this week.")
    return page_response(request, html.week_page(page))


@router.get(addresses.EXPLAINED)
def explained(request: Request, source: Answering, units: Units) -> HTMLResponse:
    """Show what each finding and quantity means."""
    return page_response(request, html.explained_page(pages.page_frame(source, units)))


@router.get(addresses.LIVE)
def live(source: Answering, units: Units, pump: Name | None = None) -> dict[str, Any]:
    """Return the newest values in words."""
    frame = pages.page_frame(source, units)
    if pump is None:
        return html.live_answer(frame, pages.site_rows(source))
    found = source.pump(pump)
    if found is None:
        raise HTTPException(404, f"The site file knows no pump {pump!r}.")
    return html.live_answer(frame, [pump_row(source, found)], duty_now(source, found))
