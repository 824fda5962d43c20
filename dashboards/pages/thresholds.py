"""The page of thresholds: what each would have done on this site's own readings, and how to set one."""

from __future__ import annotations

from collections.abc import Sequence

from dashboards import addresses
from dashboards.figures.thresholds import COLUMNS, cells
from dashboards.pages.environment import render
from dashboards.threshold_views import ThresholdPage


def threshold_page(page: ThresholdPage, losses_pct: Sequence[int]) -> str:
    """Return the page for one pump; ``losses_pct`` are the losses that may be tried [%]."""
    loss_pct = round(page.loss * 100)
    return render(
        "thresholds.html",
        page.frame,
        addresses.thresholds_address(page.pump, loss_pct),
        page=page,
        loss_pct=loss_pct,
        losses=losses_pct,
        columns=COLUMNS,
        rows=[(row.is_set, cells(page, row)) for row in page.delays],
        set_row=next((row for row in page.own if row.is_set), None),
    )
