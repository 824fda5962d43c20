"""The page of thresholds and its figure: worked out beside the pages, never in front of them."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, HTTPException, Query, Request
from fastapi.responses import HTMLResponse

from api.answers.back_test_desk import BackTestDesk
from api.answers.thresholds import LOSSES_PCT, threshold_page
from api.routes.inputs import Answering, NamedPump, Units
from dashboards import addresses
from dashboards import pages as html
from dashboards.figures.thresholds import threshold_figure

router = APIRouter(include_in_schema=False)


def desk_of(request: Request) -> BackTestDesk:
    """Return the desk that the app's back-tests are made at."""
    desk: BackTestDesk = request.app.state.desk
    return desk


def known_loss(loss: Annotated[int, Query()] = 3) -> int:
    """Return the loss that is asked for [%]; 422 for one that is not offered: each costs work."""
    if loss not in LOSSES_PCT:
        raise HTTPException(422, f"loss should be one of {', '.join(map(str, LOSSES_PCT))} (percent of head)")
    return loss


Desk = Annotated[BackTestDesk, Depends(desk_of)]
LossPct = Annotated[int, Depends(known_loss)]


@router.get(addresses.THRESHOLDS)
def thresholds(source: Answering, desk: Desk, pump: NamedPump, units: Units, loss: LossPct) -> HTMLResponse:
    """Show threshold against delay and false alarms."""
    page = threshold_page(source, desk, pump, loss / 100, units)
    return HTMLResponse(html.threshold_page(page, LOSSES_PCT), headers={"Cache-Control": "no-store"})


@router.get(addresses.THRESHOLDS_PROGRESS)
def progress(source: Answering, desk: Desk, pump: NamedPump, loss: LossPct) -> dict[str, Any]:
    """Tell how far the back-tests have come."""
    page = threshold_page(source, desk, pump, loss / 100)
    return {"ready": page.is_ready}


@router.get(f"{addresses.FIGURE}/thresholds")
def figure(
    source: Answering,
    desk: Desk,
    pump: NamedPump,
    loss: LossPct,
    scheme: Literal["light", "dark"] = "light",
) -> dict[str, Any]:
    """Return threshold against delay and false alarms as a figure."""
    return threshold_figure(threshold_page(source, desk, pump, loss / 100), scheme).answer()
