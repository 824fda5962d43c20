"""The labels of a site's pumps: each with the address at which a phone reaches its page."""

from __future__ import annotations

from api.answers.pages import page_frame
from api.answers.source import Source
from collector.site import Pump
from dashboards import addresses
from dashboards.label_views import Label, LabelPage
from dashboards.views import UnitSystem


def label_page(source: Source, pump: Pump | None, units: UnitSystem | None = None) -> LabelPage:
    """Return the label of a pump, or those of all; none where the site file states no address."""
    shown = source.site.pumps if pump is None else (pump,)
    base = source.site.address
    return LabelPage(
        frame=page_frame(source, units),
        site_file=source.site.path.name,
        pump=None if pump is None else pump.name,
        labels=() if base is None else tuple(_label(base, each) for each in shown),
    )


def _label(base: str, pump: Pump) -> Label:
    place = ", ".join(filter(None, (pump.duty, pump.system, pump.location)))
    return Label(pump=pump.name, place=place, address=base + addresses.pump_address(pump.name))
