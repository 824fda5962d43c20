"""Field checks in a browser, from the real app over a real store: by phone, by keyboard, in both schemes."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from api.answers.field_checks import record_field_check
from api.routes import create_app
from tests.api.answers.invented_lines import fill, lines_source
from tests.dashboards.in_browser.looking import foreign_and_errors, opened

TYPED = {
    "suction": "12 psi",
    "discharge": "31.5 psi",
    "suction_height": "0.4 m",
    "discharge_height": "3 ft 6 in",
    "suction_pipe": "4.026 in",
    "discharge_pipe": "3.068 in",
    "span": "60 psi",
    "flow": "142 gpm",
    "speed": "2900 rpm",
}


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    source = lines_source(tmp_path_factory.mktemp("checks"))
    fill(source)
    pump = source.site.pumps[0]
    record_field_check(source, pump, TYPED)
    server = uvicorn.Server(
        uvicorn.Config(create_app(source), host="127.0.0.1", port=0, log_level="error", lifespan="off")
    )
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}/field-check?pump={pump.name.replace(' ', '+')}"
    server.should_exit = True
    thread.join()
    source.close()


def test_it_asks_nobody_else_and_has_no_error(browser: Browser, address: str) -> None:
    assert foreign_and_errors(browser, address) == (set(), [])


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light")])
def test_a_checker_of_accessibility_finds_nothing_serious(
    browser: Browser, address: str, width: int, scheme: str
) -> None:
    # axe-core, by Deque Systems: rules for WCAG 2.
    with opened(browser, address, width=width, scheme=scheme, is_checked=True) as page:
        open_all(page)
        found = Axe().run(page).response["violations"]
    assert [each["id"] for each in found if each["impact"] in ("serious", "critical")] == []


def test_a_phone_never_scrolls_sideways(browser: Browser, address: str) -> None:
    with opened(browser, address, width=390) as page:
        open_all(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


def open_all(page: Page) -> None:
    page.locator("main details").evaluate_all("each => each.forEach(one => one.open = true)")


def test_cautions_stand_above_the_first_field(browser: Browser, address: str) -> None:
    with opened(browser, address, width=390) as page:
        cautions, field = (
            page.locator("#record .cautions").bounding_box(),
            page.locator("#suction").bounding_box(),
        )
    assert cautions is not None
    assert field is not None
    assert cautions["y"] + cautions["height"] <= field["y"]


def test_a_form_typed_by_keyboard_without_scripts_says_what_is_wrong_and_then_is_kept(
    browser: Browser, address: str
) -> None:
    with opened(browser, address, java_script=False) as page:
        before = page.locator("main section[id^=check-]").count()
        for name, text in (TYPED | {"suction": "12"}).items():
            page.locator(f"#{name}").fill(text)
        page.locator("#note").press("Enter")
        assert "has no unit" in page.locator("#suction-wrong").inner_text()
        assert page.locator("#discharge").input_value() == TYPED["discharge"]
        page.locator("#suction").fill(TYPED["suction"])
        page.locator("#suction").press("Enter")
        page.wait_for_url(address)
        assert page.locator("main section[id^=check-]").count() == before + 1


def test_the_readings_behind_a_check_are_one_click_away(browser: Browser, address: str) -> None:
    with opened(browser, address) as page:
        open_all(page)
        links = page.get_by_role("link", name="The drive's readings of these minutes")
        target = links.first.get_attribute("href") if links.count() else None
        assert target is not None
        assert page.request.get(address.partition("/field-check")[0] + target).status == 200
