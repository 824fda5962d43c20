"""The page of what is due."""

from __future__ import annotations

from api.answers.pages import page_frame
from api.answers.source import Source
from api.answers.upkeep import upkeep
from collector.site import Pump
from dashboards.upkeep_views import UpkeepPage
from dashboards.views import UnitSystem


def upkeep_page(source: Source, pump: Pump | None = None, units: UnitSystem | None = None) -> UpkeepPage:
    """Return the page of what is due, at one pump or at all."""
    rows = upkeep(source, [pump] if pump else source.site.pumps)
    return UpkeepPage(frame=page_frame(source, units), rows=rows, pump=pump.name if pump else "")
