"""The page of the lines as a browser shows it, from the real app over a real store, on a real socket."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Locator, Page

from api.routes import create_app
from tests.api.answers.invented_lines import fill, lines_source
from tests.dashboards.in_browser.looking import foreign_and_errors, opened


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    source = lines_source(tmp_path_factory.mktemp("lines"))
    fill(source)
    server = uvicorn.Server(
        uvicorn.Config(create_app(source), host="127.0.0.1", port=0, log_level="error", lifespan="off")
    )
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join()
    source.close()


def _plant_room(page: Page) -> Locator:
    return page.locator("figure[data-figure=line]", has=page.get_by_text("plant_room over 24 hours"))


def test_it_asks_nobody_else_and_has_no_error(browser: Browser, address: str) -> None:
    assert foreign_and_errors(browser, f"{address}/lines") == (set(), [])


def test_a_phone_never_scrolls_sideways(browser: Browser, address: str) -> None:
    with opened(browser, f"{address}/lines", width=390) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1360, "light")])
def test_a_checker_of_accessibility_finds_nothing_serious(
    browser: Browser, address: str, width: int, scheme: str
) -> None:
    # axe-core, by Deque Systems: rules for WCAG 2.
    with opened(browser, f"{address}/lines", width=width, scheme=scheme, is_checked=True) as page:
        found = Axe().run(page).response["violations"]
    assert [each["id"] for each in found if each["impact"] in ("serious", "critical")] == []


def test_the_dead_line_is_the_first_thing_to_be_seen(browser: Browser, address: str) -> None:
    with opened(browser, f"{address}/lines", width=390) as page:
        dead = page.locator(".dead").bounding_box()
    assert dead is not None
    assert dead["y"] + dead["height"] < 844


def test_each_line_is_drawn_with_its_units(browser: Browser, address: str) -> None:
    with opened(browser, f"{address}/lines") as page:
        plots = page.locator("figure[data-figure=line] .main-svg").count()
        names = _plant_room(page).locator(".legend2text").all_text_contents()
    assert plots >= 4
    assert names == ["11 Warm pool", "12 Heating main", "13 Lap <b>pool</b> & 7"]


def test_another_range_is_had_with_the_keyboard_alone(browser: Browser, address: str) -> None:
    with opened(browser, f"{address}/lines") as page:
        page.get_by_role("link", name="7 days").focus()
        page.keyboard.press("Enter")
        page.wait_for_url("**/lines?range=week")
        page.wait_for_selector("body[data-ready]")
        assert page.get_by_text("plant_room over 7 days").count() == 1


def test_a_silent_pump_leads_to_the_lines_in_one_step(browser: Browser, address: str) -> None:
    with opened(browser, f"{address}/lines") as page:
        page.goto(address)
        page.locator("tr", has_text="Air handling").get_by_text("how its line is").click()
        page.wait_for_url("**/lines")
        assert page.get_by_role("heading", level=1).inner_text() == "One line dead: roof"


def test_the_picture_can_be_read_as_a_table(browser: Browser, address: str) -> None:
    with opened(browser, f"{address}/lines") as page:
        figure = _plant_room(page)
        figure.get_by_text("The same as a table").click()
        assert figure.get_by_role("columnheader", name="Damaged").count() == 1
