"""The page of thresholds as a browser shows it: drawn, by keyboard, on a phone, and for those who hear it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

KNOWN = "Applying inline style violates the following Content Security Policy"
"""The chart library tries to add a style sheet for maps, which are not used here; the policy stops it."""
PATHS = ("/thresholds", "/thresholds-short", "/thresholds-blind")


@contextmanager
def opened(browser: Browser, address: str, *, width: int = 1360, scheme: str = "light") -> Iterator[Page]:
    # The checker is a script put into the page, which the policy that is served would rightly stop.
    context = browser.new_context(
        viewport={"width": width, "height": 844},
        color_scheme=scheme,  # type: ignore[arg-type]
        bypass_csp=True,
    )
    page = context.new_page()
    try:
        page.goto(address)
        page.wait_for_selector("body[data-ready]")
        yield page
    finally:
        context.close()


@pytest.mark.parametrize("path", PATHS)
def test_it_asks_nobody_else_and_has_no_error(browser: Browser, stage: SimpleNamespace, path: str) -> None:
    context = browser.new_context()
    page = context.new_page()
    asked: list[str] = []
    errors: list[str] = []
    page.on("request", lambda request: asked.append(urlsplit(request.url).netloc))
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda said: errors.append(said.text) if said.type == "error" else None)
    page.goto(stage.address + path)
    page.wait_for_selector("body[data-ready]")
    context.close()
    assert set(asked) <= {urlsplit(stage.address).netloc, ""}
    assert [error for error in errors if not error.startswith(KNOWN)] == []


@pytest.mark.parametrize("path", PATHS)
def test_a_phone_never_scrolls_sideways(browser: Browser, stage: SimpleNamespace, path: str) -> None:
    with opened(browser, stage.address + path, width=390) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1360])
@pytest.mark.parametrize("path", PATHS)
def test_a_checker_of_accessibility_finds_nothing_serious(
    browser: Browser, stage: SimpleNamespace, path: str, width: int, scheme: str
) -> None:
    # axe-core, by Deque Systems: rules for WCAG 2.
    with opened(browser, stage.address + path, width=width, scheme=scheme) as page:
        found = Axe().run(page).response["violations"]
    assert [each["id"] for each in found if each["impact"] in ("serious", "critical")] == []


def test_delays_and_false_alarms_are_drawn_with_what_is_set(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/thresholds") as page:
        assert page.locator("figure[data-figure=thresholds] .scatterlayer .trace").count() >= 4
        assert page.get_by_text("as set, evidence 5").count() == 1
        assert page.locator("tr.is-set").count() == 1


def test_another_loss_is_tried_with_the_keyboard_alone(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/thresholds") as page:
        page.locator("select[name=loss]").focus()
        page.keyboard.press("ArrowDown")
        page.keyboard.press("Tab")
        with page.expect_request(lambda request: "loss=5" in request.url):
            page.keyboard.press("Enter")


def test_the_table_is_reached_with_the_keyboard(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/thresholds", width=390) as page:
        reached: list[str | None] = []
        for _ in range(40):
            page.keyboard.press("Tab")
            reached.append(page.evaluate("document.activeElement.getAttribute('aria-label')"))
        assert "What each threshold does, as a table" in reached


def test_a_pump_with_too_short_a_history_shows_the_delays_of_the_site(
    browser: Browser, stage: SimpleNamespace
) -> None:
    with opened(browser, stage.address + "/thresholds-short") as page:
        assert page.get_by_text("of the other pumps worked out so far").count() >= 1
        assert "0 of 0" not in page.locator("main").inner_text()
