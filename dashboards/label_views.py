"""What the page of labels is told: frozen facts, ready to be worded."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards.views import PageFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A pump's label; ``address`` is that of its page as a phone asks for it."""

    pump: str
    place: str
    address: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelPage:
    """Labels to print, of one pump or of all; none where the site file states no address to put on them."""

    frame: PageFrame
    site_file: str
    pump: str | None = None
    labels: tuple[Label, ...] = ()
