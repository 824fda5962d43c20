"""Pages as HTML, each a function of its view. Links are those of ``dashboards.addresses``."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from dashboards import addresses
from dashboards.pages.documents import documents_page
from dashboards.pages.environment import render
from dashboards.pages.field_check import field_check_page
from dashboards.pages.handover import handover_page
from dashboards.pages.labels import label_page
from dashboards.pages.lines import lines_page
from dashboards.pages.live import live_answer
from dashboards.pages.service import service_page
from dashboards.pages.thresholds import threshold_page
from dashboards.pages.upkeep import upkeep_page
from dashboards.views import ErrorPage, FindingPage, PageFrame, PumpPage, SitePage
from dashboards.week_views import WeekPage
from dashboards.why_views import WhyPage

__all__ = [
    "CONTENT_SECURITY_POLICY",
    "STATIC_FOLDER",
    "documents_page",
    "error_page",
    "explained_page",
    "field_check_page",
    "finding_page",
    "handover_page",
    "label_page",
    "lines_page",
    "live_answer",
    "pump_page",
    "service_page",
    "site_page",
    "threshold_page",
    "upkeep_page",
    "week_page",
    "why_page",
]

STATIC_FOLDER: Final = Path(__file__).parents[1] / "static"
"""Style sheets and scripts, to be served under ``addresses.STATIC``."""

CONTENT_SECURITY_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; style-src-attr 'unsafe-inline'; "
    "img-src 'self' data: blob:; connect-src 'self'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)
"""The chart library sets style attributes and nothing else that a stricter policy would stop."""


def site_page(page: SitePage) -> str:
    """Return the list of pumps with what needs attention first, or the first-run page without pumps."""
    template = "site.html" if page.pumps else "first_run.html"
    return render(template, page.frame, addresses.SITE, page=page)


def pump_page(page: PumpPage) -> str:
    """Return one pump's page."""
    return render("pump.html", page.frame, addresses.pump_address(page.row.name), page=page)


def finding_page(page: FindingPage) -> str:
    """Return one finding with its evidence, checks, cautions and history."""
    address = addresses.finding_address(page.card.identity)
    return render("finding.html", page.frame, address, card=page.card, after_work=page.after_work)


def week_page(page: WeekPage) -> str:
    """Return the table of one week, all pumps."""
    return render("week.html", page.frame, addresses.week_address(page.start_utc_ms), page=page)


def why_page(page: WhyPage) -> str:
    """Return why a week's energy per volume changed, and what it is worth."""
    return render("why.html", page.frame, addresses.why_address(page.week.start_utc_ms, page.pump), page=page)


def explained_page(frame: PageFrame) -> str:
    """Return the words page: each kind of finding and each quantity in plain words."""
    return render("explained.html", frame, addresses.EXPLAINED)


def error_page(page: ErrorPage) -> str:
    """Return the page for something that could not be shown."""
    return render("error.html", page.frame, addresses.SITE, page=page)
