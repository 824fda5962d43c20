"""The page of thresholds as a browser shows it: drawn, by keyboard, on a phone, and for those who hear it."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from tests.dashboards.in_browser.looking import foreign_and_errors, opened

PATHS = ("/thresholds", "/thresholds-short", "/thresholds-blind")


@pytest.mark.parametrize("path", PATHS)
def test_it_asks_nobody_else_and_has_no_error(browser: Browser, stage: SimpleNamespace, path: str) -> None:
    assert foreign_and_errors(browser, stage.address + path) == (set(), [])


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
    with opened(browser, stage.address + path, width=width, scheme=scheme, is_checked=True) as page:
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
