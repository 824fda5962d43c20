"""The sheet of a pump's first day, for the screen and for paper."""

from __future__ import annotations

from dashboards import addresses
from dashboards.handover_views import HandoverPage
from dashboards.pages.environment import render
from dashboards.wording import handover as words


def handover_page(page: HandoverPage) -> str:
    """Return the handover sheet of one pump, with the form that accepts its curve once that is full."""
    return render(
        "handover.html",
        page.frame,
        addresses.handover_address(page.pump.name),
        page=page,
        sections=words.sections(page),
        words=words,
    )
