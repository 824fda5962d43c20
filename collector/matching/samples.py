"""A sample: a panel as typed, and what the registers held while it was read."""

from __future__ import annotations

from dataclasses import dataclass

from collector.matching.panel import PanelValue
from collector.matching.places import Image


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """What the panel showed, and the images read just before and just after it was typed."""

    panel: tuple[PanelValue, ...]
    images: tuple[Image, ...]
    time_utc_ms: int

    def shown(self, name: str) -> PanelValue | None:
        """Return the value of a quantity, or None when it was not typed."""
        return next((value for value in self.panel if value.quantity.name == name), None)
