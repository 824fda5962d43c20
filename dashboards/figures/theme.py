"""Colours of the figures, light and dark.

The named colours are from Okabe and Ito, "Color Universal Design" (jfly.uni-koeln.de/color). Each theme
uses only those whose contrast with its background is 3:1 or better (WCAG 2.2, 1.4.11), which a test works
out. Colour is for what is not normal; the normal is ink and grey, and no colour stands without a shape or
a word.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Scheme = Literal["light", "dark"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Theme:
    """Colours as ``#rrggbb``; ``old`` and ``new`` are the ends of the ramp that shows time."""

    surface: str
    ink: str
    quiet: str
    line: str
    band: str
    edge: str
    region: str
    old: str
    middle: str
    new: str
    urgent: str
    soon: str
    planned: str
    information: str
    service: str
    normal: str


LIGHT: Final = Theme(
    surface="#ffffff",
    ink="#1d2226",
    quiet="#59616a",
    line="#d9d6ce",
    band="rgba(29,34,38,0.22)",
    edge="#7d858d",
    region="rgba(29,34,38,0.09)",
    old="#a9b4bf",
    middle="#5d83a6",
    new="#0b3c68",
    urgent="#d55e00",
    soon="#b0457f",
    planned="#0072b2",
    information="#59616a",
    service="#00795a",
    normal="#6f7a85",
)
"""``soon`` and ``service`` are the purple and the green of the set, darkened until they have contrast."""
DARK: Final = Theme(
    surface="#1b1f23",
    ink="#e8e6e1",
    quiet="#a5acb3",
    line="#3a4047",
    band="rgba(232,230,225,0.26)",
    edge="#8d97a1",
    region="rgba(232,230,225,0.11)",
    old="#56616c",
    middle="#7f9db8",
    new="#b5dcf7",
    urgent="#f07d28",
    soon="#cc79a7",
    planned="#56b4e9",
    information="#a5acb3",
    service="#009e73",
    normal="#8d97a1",
)
"""A priority keeps its hue from light to dark: ``urgent`` is the vermillion of the set, lightened."""
THEMES: Final[dict[Scheme, Theme]] = {"light": LIGHT, "dark": DARK}


def priority_colour(theme: Theme, priority: str) -> str:
    """Return the colour of a priority."""
    colours = {"urgent": theme.urgent, "soon": theme.soon, "planned": theme.planned}
    return colours.get(priority, theme.information)
