"""The page of a pump's service log: what was done, what it did, and the form for what is done next."""

from __future__ import annotations

from dashboards import addresses
from dashboards.pages.environment import render
from dashboards.service_views import ServicePage


def service_page(page: ServicePage) -> str:
    """Return the service log of one pump."""
    return render("service.html", page.frame, addresses.service_address(page.pump), page=page)
