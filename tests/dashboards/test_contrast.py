"""Contrast by WCAG 2.2: relative luminance and contrast ratio as defined there; 1.4.3 and 1.4.11."""

from __future__ import annotations

import colorsys
import re

import pytest

from dashboards.figures.theme import THEMES, Scheme
from dashboards.pages import STATIC_FOLDER

TEXT = 4.5
MARK = 3.0
SCHEMES: tuple[Scheme, ...] = ("light", "dark")


def luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def page_colours(scheme: Scheme) -> dict[str, str]:
    style = (STATIC_FOLDER / "page.css").read_text(encoding="utf-8")
    blocks = re.findall(r":root \{(.*?)\}", style, flags=re.DOTALL)
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", blocks[0 if scheme == "light" else 1]))


def test_the_ratio_is_the_published_one() -> None:
    # WCAG 2.2: black on white is 21:1; #767676 on white is the darkest common grey with 4.5:1 (4.54).
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("name", ["ink", "quiet", "link"])
@pytest.mark.parametrize("ground", ["paper", "surface"])
def test_words_can_be_read(scheme: Scheme, name: str, ground: str) -> None:
    colours = page_colours(scheme)
    assert contrast(colours[name], colours[ground]) >= TEXT


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("name", ["urgent", "soon", "planned", "information", "focus"])
@pytest.mark.parametrize("ground", ["paper", "surface"])
def test_marks_can_be_seen(scheme: Scheme, name: str, ground: str) -> None:
    colours = page_colours(scheme)
    assert contrast(colours[name], colours[ground]) >= MARK


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize(
    "name", ["ink", "urgent", "soon", "planned", "information", "service", "normal", "new", "middle"]
)
def test_what_a_figure_draws_can_be_seen(scheme: Scheme, name: str) -> None:
    theme = THEMES[scheme]
    assert contrast(getattr(theme, name), theme.surface) >= MARK


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("name", ["ink", "quiet", "urgent", "soon", "planned", "information"])
def test_figures_and_pages_have_the_same_colours(scheme: Scheme, name: str) -> None:
    assert getattr(THEMES[scheme], name) == page_colours(scheme)[name]


@pytest.mark.parametrize("scheme", SCHEMES)
def test_time_is_a_ramp_of_growing_contrast(scheme: Scheme) -> None:
    theme = THEMES[scheme]
    steps = [contrast(each, theme.surface) for each in (theme.old, theme.middle, theme.new)]
    assert steps == sorted(steps)


@pytest.mark.parametrize("name", ["urgent", "soon", "planned"])
def test_a_priority_keeps_its_hue_from_light_to_dark(name: str) -> None:
    hues = []
    for scheme in SCHEMES:
        colour = page_colours(scheme)[name]
        parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
        hues.append(360 * colorsys.rgb_to_hls(parts[0], parts[1], parts[2])[0])
    assert abs(hues[0] - hues[1]) < 10
