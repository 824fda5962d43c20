"""The pages as a browser shows them: Debian's chromium, real requests, the policy that is served."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser

from tests.dashboards.in_browser.looking import foreign_and_errors, opened

PAGES = ("/", "/pump", "/finding", "/week", "/explained", "/first-run")


@pytest.mark.parametrize("path", PAGES)
def test_a_page_asks_nobody_else_and_has_no_error(
    browser: Browser, stage: SimpleNamespace, path: str
) -> None:
    assert foreign_and_errors(browser, stage.address + path) == (set(), [])


@pytest.mark.parametrize("path", PAGES)
def test_a_phone_never_scrolls_sideways(browser: Browser, stage: SimpleNamespace, path: str) -> None:
    with opened(browser, stage.address + path, width=390) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_pump_page_draws_four_pictures_in_the_readers_scheme(
    browser: Browser, stage: SimpleNamespace, scheme: str
) -> None:
    with opened(browser, stage.address + "/pump", scheme=scheme) as page:
        assert page.locator(".plot .main-svg").count() >= 4
        surface = page.locator(".plot .main-svg").first.evaluate("each => each.style.background")
        body = page.evaluate("getComputedStyle(document.querySelector('.chart')).backgroundColor")
        assert surface == body


def test_no_button_hands_a_chart_to_anybody(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/pump") as page:
        names = page.locator(".modebar-btn").evaluate_all("all => all.map(each => each.dataset.title)")
        assert set(names) == {"Zoom in", "Zoom out", "Reset axes"}


@pytest.mark.parametrize("width", [1280, 500, 390])
def test_the_buttons_of_a_chart_lie_on_nothing(browser: Browser, stage: SimpleNamespace, width: int) -> None:
    with opened(browser, stage.address + "/pump", width=width) as page:
        for plot in page.locator(".plot:has(.modebar-btn)").all():
            buttons = plot.locator(".modebar-btn").last.bounding_box()
            picture = plot.locator(".main-svg").first.bounding_box()
            caption = plot.locator("xpath=..").locator("figcaption").bounding_box()
            assert buttons is not None
            assert picture is not None
            assert caption is not None
            assert buttons["y"] + buttons["height"] <= picture["y"] + 1
            assert caption["y"] + caption["height"] <= buttons["y"] + 1


@pytest.mark.parametrize("figure", ["head", "power"])
def test_band_and_learned_region_stand_in_the_legend(
    browser: Browser, stage: SimpleNamespace, figure: str
) -> None:
    with opened(browser, stage.address + "/pump") as page:
        named = page.locator(f"figure[data-figure={figure}] .legendtext").all_text_contents()
        assert "band of healthy readings" in named
        assert "learned here" in named


def test_the_legend_stays_above_its_chart(browser: Browser, stage: SimpleNamespace) -> None:
    # Without the chart library's own rules as a file, the strict policy lets the legend fall below.
    with opened(browser, stage.address + "/pump") as page:
        legend = page.locator("figure[data-figure=head] .legend").bounding_box()
        axis = page.locator("figure[data-figure=head] .xtick").first.bounding_box()
        assert legend is not None
        assert axis is not None
        assert legend["y"] < axis["y"]


def test_a_name_with_markup_is_only_text(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/") as page:
        assert page.locator("main img").count() == 0
        assert page.get_by_text("<img src=x onerror=alert(1)>").count() >= 1


def test_values_follow_without_a_reload(
    browser: Browser, stage: SimpleNamespace, invented: SimpleNamespace
) -> None:
    with opened(browser, stage.address + "/") as page:
        flow = "tr[data-pump=P01] [data-live=flow_m3h]"
        assert page.locator(flow).inner_text() == "14.2"
        stage.shows.pumps = (replace(invented.row("P01"), live=invented.live_values(2403, 655, 15.3, 7.9)),)
        page.wait_for_selector(f"{flow}:text-is('15.3')", timeout=15_000)


def test_a_value_that_is_no_longer_told_leaves_the_page(
    browser: Browser, stage: SimpleNamespace, invented: SimpleNamespace
) -> None:
    with opened(browser, stage.address + "/pump") as page:
        assert page.get_by_text("Wire to water", exact=True).is_visible()
        stage.shows.pumps = (replace(invented.row("P02"), live=invented.live_values(0, 12, 0.0, 0.0)[:4]),)
        page.wait_for_selector("[data-live=speed_rpm]:text-is('0\u00a0rpm')", timeout=15_000)
        assert page.get_by_text("Wire to water", exact=True).is_hidden()


@pytest.mark.parametrize("path", ["/", "/pump", "/finding", "/week"])
def test_the_time_of_the_data_follows_without_a_reload(
    browser: Browser, stage: SimpleNamespace, invented: SimpleNamespace, path: str
) -> None:
    with opened(browser, stage.address + path) as page:
        stage.shows.frame = {"data_as_of_utc_ms": invented.NOW_MS - 1000}
        page.wait_for_selector("#as-of:has-text('14:59:59')", timeout=15_000)


def test_a_finding_page_is_not_fetched_anew_for_each_new_value(
    browser: Browser, stage: SimpleNamespace
) -> None:
    with opened(browser, stage.address + "/finding") as page:
        asked: list[str] = []
        page.on("request", lambda request: asked.append(urlsplit(request.url).path))
        page.wait_for_event("requestfinished", timeout=15_000)
        page.wait_for_timeout(500)
        assert set(asked) == {"/live"}


@pytest.mark.parametrize("width", [920, 1160, 1360])
@pytest.mark.parametrize("path", ["/", "/week"])
def test_a_pumps_name_is_parted_between_words_only(
    browser: Browser, stage: SimpleNamespace, invented: SimpleNamespace, path: str, width: int
) -> None:
    stage.shows.frame = {"units": "US"}
    with opened(browser, stage.address + path, width=width) as page:
        name = page.locator("tbody th bdi").first
        name.evaluate("each => { each.textContent = 'Diving circulation' }")
        rows = name.evaluate("each => new Set([...each.getClientRects()].map(row => row.top)).size")
        assert rows <= 2
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_dead_collector_is_unmistakable(
    browser: Browser, stage: SimpleNamespace, invented: SimpleNamespace
) -> None:
    with opened(browser, stage.address + "/pump") as page:
        assert page.locator("#stale").is_hidden()
        stage.shows.frame = {"data_as_of_utc_ms": invented.NOW_MS - invented.HOUR_MS}
        page.wait_for_selector("#stale:not([hidden])", timeout=15_000)
        assert "Readings have stopped" in page.locator("#stale").inner_text()


def test_a_page_that_is_not_answered_says_so(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/") as page:
        page.context.set_offline(True)
        page.wait_for_selector("#stale:not([hidden])", timeout=15_000)
        assert "does not answer" in page.locator("#stale").inner_text()


def test_a_finding_that_has_gone_leaves_an_open_page(
    browser: Browser, stage: SimpleNamespace, invented: SimpleNamespace
) -> None:
    with opened(browser, stage.address + "/") as page:
        stage.shows.pumps = (invented.row("P01"), invented.row("P02"))
        page.wait_for_selector("h1:has-text('Nothing to act on was found in 2 pumps')", timeout=15_000)


def test_each_picture_stands_beside_its_numbers(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/pump") as page:
        for figure in ("head", "power", "against", "trend", "energy"):
            assert page.locator(f"figure[data-figure={figure}] .scroll tr").count() > 5


def test_the_range_is_changed_with_the_keyboard_alone(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/pump") as page:
        page.locator("input[name=range]:checked").focus()
        with page.expect_request(lambda request: "range=month" in request.url):
            page.keyboard.press("ArrowRight")


def test_the_first_stop_of_the_keyboard_skips_to_the_content(
    browser: Browser, stage: SimpleNamespace
) -> None:
    with opened(browser, stage.address + "/") as page:
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.getAttribute('href')") == "#main"


def test_what_needs_attention_can_be_read_without_scripts(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/", java_script=False) as page:
        assert "6 of 9 pumps need attention" in page.locator("h1").inner_text()


@pytest.mark.parametrize("path", ["/", "/week"])
def test_paper_carries_a_table_and_not_a_card_a_pump(
    browser: Browser, stage: SimpleNamespace, path: str
) -> None:
    # A4 upright with usual margins is about 720 px wide.
    with opened(browser, stage.address + path, width=720) as page:
        assert page.locator("table.pumps thead").is_hidden()
        page.emulate_media(media="print")
        assert page.locator("table.pumps thead").is_visible()
        assert page.evaluate("document.documentElement.scrollWidth") <= 720


@pytest.mark.parametrize(("scheme", "turned"), [("light", "none"), ("dark", "invert(1) hue-rotate(180deg)")])
def test_paper_is_never_black(browser: Browser, stage: SimpleNamespace, scheme: str, turned: str) -> None:
    with opened(browser, stage.address + "/pump", scheme=scheme) as page:
        assert page.locator(".plot").first.evaluate("each => getComputedStyle(each).filter") == "none"
        page.emulate_media(media="print", color_scheme=scheme)  # type: ignore[arg-type]
        assert page.locator(".plot").first.evaluate("each => getComputedStyle(each).filter") == turned


def test_paper_carries_no_buttons(browser: Browser, stage: SimpleNamespace) -> None:
    with opened(browser, stage.address + "/finding") as page:
        page.emulate_media(media="print")
        assert page.locator("form").is_hidden()
        assert page.locator("h1").is_visible()
