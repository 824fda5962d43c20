"""The page of a pump's service log: what was done, what it did, and the forms for what is done next."""

from __future__ import annotations

from dashboards import addresses
from dashboards.pages.environment import render
from dashboards.service_views import ServiceEntry, ServicePage
from dashboards.wording import repairs


def service_page(page: ServicePage) -> str:
    """Return the service log of one pump."""
    return render(
        "service.html",
        page.frame,
        addresses.service_address(page.pump),
        page=page,
        repairs=repairs,
        mistaken={str(entry.number): _named(entry, page) for entry in page.entries if not entry.taken_back},
    )


def _named(entry: ServiceEntry, page: ServicePage) -> str:
    return repairs.entry_words(entry, page.frame.time_zone, page.frame.now_utc_ms)
