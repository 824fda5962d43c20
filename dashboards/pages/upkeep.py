"""The page of work that falls due."""

from __future__ import annotations

from dashboards import addresses
from dashboards.pages.environment import render
from dashboards.upkeep_views import UpkeepPage


def upkeep_page(page: UpkeepPage) -> str:
    """Return the list of tasks, of one pump or of all."""
    here = addresses.upkeep_address(page.pump or None)
    return render("upkeep.html", page.frame, here, page=page, rows=page.rows)
