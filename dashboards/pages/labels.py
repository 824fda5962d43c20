"""The page of labels: of one pump, or a sheet of all, in millimetres."""

from __future__ import annotations

from typing import Final

from dashboards import addresses
from dashboards.figures.qr_code import QrCode, qr_code
from dashboards.label_views import Label, LabelPage
from dashboards.pages.environment import render

CODE_MM: Final = 34.0
"""Side of the printed code with its quiet zone; ``.label svg`` in the style sheet says the same [mm]."""
FINEST_MODULE_MM: Final = 0.4
"""A phone at arm's length in poor light reads no finer ones (common practice) [mm]."""


def label_page(page: LabelPage) -> str:
    """Return the labels, or what to set first."""
    return render(
        "label.html",
        page.frame,
        addresses.label_address(page.pump),
        page=page,
        labels=[(label, _code(label)) for label in page.labels],
    )


def _code(label: Label) -> QrCode | None:
    """Return the code of a label, ``None`` where it would be too fine to be read."""
    try:
        code = qr_code(label.address)
    except ValueError:
        return None
    return code if code.module_mm(CODE_MM) >= FINEST_MODULE_MM else None
