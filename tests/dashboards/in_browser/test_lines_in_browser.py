"""The page of the lines as a browser shows it, from the real app over a real store, on a real socket."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Locator, Page

from api.routes import create_app
from tests.api.answers.invented_lines import fill, lines_source

KNOWN = "Applying inline style violates the following Content Security Policy"
"""The chart library tries to add a style sheet for maps, which are not used here; the policy stops it."""


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


@contextmanager
def opened(
    browser: Browser, address: str, *, width: int = 1360, scheme: str = "light", is_checked: bool = False
) -> Iterator[Page]:
    # The checker is a script put into the page, which the policy that is served would rightly stop.
    context = browser.new_context(
        viewport={"width": width, "height": 844},
        color_scheme=scheme,  # type: ignore[arg-type]
        bypass_csp=is_checked,
    )
    page = context.new_page()
    try:
        page.goto(f"{address}/lines")
        page.wait_for_selector("body[data-ready]")
        yield page
    finally:
        context.close()


def _plant_room(page: Page) -> Locator:
    return page.locator("figure[data-figure=line]", has=page.get_by_text("plant_room over 24 hours"))


def test_it_asks_nobody_else_and_has_no_error(browser: Browser, address: str) -> None:
    context = browser.new_context()
    page = context.new_page()
    asked: list[str] = []
    errors: list[str] = []
    page.on("request", lambda request: asked.append(urlsplit(request.url).netloc))
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda said: errors.append(said.text) if said.type == "error" else None)
    page.goto(f"{address}/lines")
    page.wait_for_selector("body[data-ready]")
    context.close()
    assert set(asked) <= {urlsplit(address).netloc, ""}
    assert [error for error in errors if not error.startswith(KNOWN)] == []


def test_a_phone_never_scrolls_sideways(browser: Browser, address: str) -> None:
    with opened(browser, address, width=390) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1360, "light")])
def test_a_checker_of_accessibility_finds_nothing_serious(
    browser: Browser, address: str, width: int, scheme: str
) -> None:
    # axe-core, by Deque Systems: rules for WCAG 2.
    with opened(browser, address, width=width, scheme=scheme, is_checked=True) as page:
        found = Axe().run(page).response["violations"]
    assert [each["id"] for each in found if each["impact"] in ("serious", "critical")] == []


def test_the_dead_line_is_the_first_thing_to_be_seen(browser: Browser, address: str) -> None:
    with opened(browser, address, width=390) as page:
        dead = page.locator(".dead").bounding_box()
    assert dead is not None
    assert dead["y"] + dead["height"] < 844


def test_each_line_is_drawn_with_its_units(browser: Browser, address: str) -> None:
    with opened(browser, address) as page:
        plots = page.locator("figure[data-figure=line] .main-svg").count()
        names = _plant_room(page).locator(".legend2text").all_text_contents()
    assert plots >= 4
    assert names == ["11 Warm pool", "12 Heating main", "13 Lap <b>pool</b> & 7"]


def test_another_range_is_had_with_the_keyboard_alone(browser: Browser, address: str) -> None:
    with opened(browser, address) as page:
        page.get_by_role("link", name="7 days").focus()
        page.keyboard.press("Enter")
        page.wait_for_url("**/lines?range=week")
        page.wait_for_selector("body[data-ready]")
        assert page.get_by_text("plant_room over 7 days").count() == 1


def test_a_silent_pump_leads_to_the_lines_in_one_step(browser: Browser, address: str) -> None:
    with opened(browser, address) as page:
        page.goto(address)
        page.locator("tr", has_text="Air handling").get_by_text("how its line is").click()
        page.wait_for_url("**/lines")
        assert page.get_by_role("heading", level=1).inner_text() == "One line dead: roof"


def test_the_picture_can_be_read_as_a_table(browser: Browser, address: str) -> None:
    with opened(browser, address) as page:
        figure = _plant_room(page)
        figure.get_by_text("The same as a table").click()
        assert figure.get_by_role("columnheader", name="Damaged").count() == 1
