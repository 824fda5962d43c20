"""The page of a pump's field checks: what each found and says, and the form for the next."""

from __future__ import annotations

from dashboards import addresses
from dashboards.field_check_views import FieldCheckPage
from dashboards.pages.environment import render
from dashboards.wording import field_checks
from dashboards.wording.field_check_fields import FIELDS


def field_check_page(page: FieldCheckPage) -> str:
    """Return the field checks of one pump."""
    address = addresses.field_check_address(page.pump)
    return render("field_check.html", page.frame, address, page=page, words=field_checks, fields=FIELDS)
