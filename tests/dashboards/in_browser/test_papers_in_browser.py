"""A pump's papers as a browser shows and prints them; a label's code is read from its picture."""

from __future__ import annotations

import base64
import re
from types import SimpleNamespace

import numpy as np
import pytest
import zxingcpp
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tests.dashboards.in_browser.looking import foreign_and_errors, opened
from tests.dashboards.in_browser.papers import address

PATHS = ("/handover", "/documents", "/documents-wrong", "/label", "/label-none")
PIXELS_OF_PNG = """
async (png) => {
  const image = new Image();
  image.src = "data:image/png;base64," + png;
  await image.decode();
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [image.width, image.height];
  const draw = canvas.getContext("2d");
  draw.drawImage(image, 0, 0);
  const { data } = draw.getImageData(0, 0, image.width, image.height);
  const grey = new Uint8Array(image.width * image.height);
  for (let place = 0; place < grey.length; place += 1) grey[place] = data[4 * place];
  return { width: image.width, height: image.height, grey: Array.from(grey) };
}
"""


def read_code(page: Page, png: bytes) -> str:
    """Return what zxing-cpp reads in a picture; the browser unpacks the PNG."""
    found = page.evaluate(PIXELS_OF_PNG, base64.b64encode(png).decode())
    grey = np.array(found["grey"], dtype=np.uint8).reshape(found["height"], found["width"])
    (code,) = zxingcpp.read_barcodes(grey)
    return str(code.text)


def pages_of(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page(?!s)", pdf))


@pytest.mark.parametrize("path", PATHS)
def test_it_asks_nobody_else_and_has_no_error(browser: Browser, stage: SimpleNamespace, path: str) -> None:
    assert foreign_and_errors(browser, stage.address + path) == (set(), [])


@pytest.mark.parametrize("path", PATHS)
def test_a_phone_never_scrolls_sideways(browser: Browser, stage: SimpleNamespace, path: str) -> None:
    with opened(browser, stage.address + path, width=390) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light")])
@pytest.mark.parametrize("path", PATHS)
def test_a_checker_of_accessibility_finds_nothing_serious(
    browser: Browser, stage: SimpleNamespace, path: str, width: int, scheme: str
) -> None:
    # axe-core, by Deque Systems: rules for WCAG 2.
    with opened(browser, stage.address + path, width=width, scheme=scheme, is_checked=True) as page:
        found = Axe().run(page).response["violations"]
    assert [each["id"] for each in found if each["impact"] in ("serious", "critical")] == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_each_label_on_the_screen_is_read_as_the_address_of_its_pump(
    browser: Browser, stage: SimpleNamespace, scheme: str
) -> None:
    with opened(browser, stage.address + "/label", scheme=scheme) as page:
        for place, pump in enumerate(("P02", stage.shows.invented.HOSTILE, "Handbuch für Pumpe 3")):
            shown = page.locator(".label").nth(place).screenshot()
            assert read_code(page, shown) == address(pump)


def test_a_label_has_the_size_that_it_says(browser: Browser, stage: SimpleNamespace) -> None:
    # A millimetre is 96 / 25.4 of the style sheet's pixels (CSS Values and Units, from memory).
    with opened(browser, stage.address + "/label") as page:
        label = page.locator(".label").first.bounding_box()
        code = page.locator(".label svg").first.bounding_box()
    assert label is not None
    assert code is not None
    assert (label["width"] * 25.4 / 96, label["height"] * 25.4 / 96) == pytest.approx((90, 50), abs=0.1)
    assert code["width"] * 25.4 / 96 == pytest.approx(34, abs=0.1)


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_ten_labels_stand_on_a_sheet_and_the_eleventh_on_the_next(
    browser: Browser, stage: SimpleNamespace, size: str
) -> None:
    with opened(browser, stage.address + "/label") as page:
        assert page.locator(".label").count() == 11
        assert pages_of(page.pdf(format=size, prefer_css_page_size=False)) == 2
        page.locator(".label").last.evaluate("label => label.remove()")
        assert pages_of(page.pdf(format=size)) == 1


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_the_handover_sheet_is_two_pages_of_paper(
    browser: Browser, stage: SimpleNamespace, size: str
) -> None:
    margin = {"top": "12mm", "bottom": "12mm", "left": "14mm", "right": "14mm"}
    with opened(browser, stage.address + "/handover") as page:
        assert pages_of(page.pdf(format=size, margin=margin)) <= 2  # type: ignore[arg-type]


def test_the_picture_on_the_sheet_is_no_wider_than_paper(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/handover") as page:
        drawn = page.locator("figure[data-figure=first] .main-svg").first.bounding_box()
    assert drawn is not None
    assert drawn["width"] * 25.4 / 96 <= 168


def test_what_was_typed_stays_beside_what_is_wrong(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/documents-wrong", width=390) as page:
        assert page.locator("#file-wrong").inner_text() == "is no PDF, PNG or JPEG"
        assert page.locator("#file").get_attribute("aria-invalid") == "true"
        assert page.locator("#title").input_value() == "x" * 100
        assert page.locator("#title").get_attribute("aria-invalid") is None


def test_a_document_is_removed_only_by_a_second_step(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/documents") as page:
        button = page.get_by_role("button", name="Remove it for good")
        assert button.count() == 0
        page.get_by_text("Remove Pump manual").click()
        assert button.count() == 1
