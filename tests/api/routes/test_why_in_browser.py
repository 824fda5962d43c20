"""The page that explains a week, from the real server, as a browser shows it."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, sync_playwright

from dashboards import addresses
from tests.dashboards.in_browser.looking import foreign_and_errors, opened

ROOT = Path(__file__).parents[3]
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), "/usr/bin/chromium")
WEEK_MS = 1_780_272_000_000 - 3_600_000 + 4 * 7 * 86_400_000
PAGES = (addresses.why_address(WEEK_MS, "Lap <b>pool</b> 2"), addresses.why_address(WEEK_MS))


@pytest.fixture(scope="module")
def address(analysed_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Return the address of the real server on the analysed site."""
    folder = tmp_path_factory.mktemp("seen") / "copy"
    shutil.copytree(analysed_folder, folder)
    words = ("serve", "--site", str(folder / "site.toml"), "--port", "0")
    process = subprocess.Popen(
        [sys.executable, "-m", "api", *words], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    try:
        yield process.stdout.readline().split()[-1].rstrip("/")
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield launched
        launched.close()


@pytest.mark.parametrize("path", PAGES)
def test_it_asks_nobody_else_and_has_no_error(browser: Browser, address: str, path: str) -> None:
    assert foreign_and_errors(browser, address + path) == (set(), [])


@pytest.mark.parametrize("path", PAGES)
def test_a_phone_never_scrolls_sideways(browser: Browser, address: str, path: str) -> None:
    with opened(browser, address + path, width=390) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_nothing_serious_stands_in_a_readers_way(
    browser: Browser, address: str, path: str, scheme: str
) -> None:
    # axe-core, by Deque Systems: rules for WCAG 2.
    with opened(browser, address + path, scheme=scheme, is_checked=True) as page:
        found = Axe().run(page).response["violations"]
    serious = [each["id"] for each in found if each["impact"] in ("serious", "critical")]
    assert serious == []


def test_its_pictures_are_drawn_with_a_step_a_part(browser: Browser, address: str) -> None:
    with opened(browser, address + PAGES[0]) as page:
        pictures = page.locator("figure[data-figure=why]")
        assert pictures.count() == 2
        assert pictures.first.locator(".point path").count() >= 5


def test_without_scripts_the_sentence_and_the_table_stand_there(browser: Browser, address: str) -> None:
    with opened(browser, address + PAGES[0], java_script=False) as page:
        assert "less head was held" in page.locator(".lead").first.inner_text()
        assert page.get_by_role("row", name="Place on its curve").first.is_visible()


def test_a_week_leads_to_a_pumps_why_and_from_there_to_its_hours(browser: Browser, address: str) -> None:
    with opened(browser, address + addresses.week_address(WEEK_MS)) as page:
        page.get_by_role("link", name="why and worth of Hot tub").click()
        page.wait_for_selector("h1:has-text('Hot tub')")
        with page.expect_download() as hours:
            page.get_by_role("link", name="hours of Hot tub (CSV)").click()
        assert hours.value.suggested_filename == "hours.csv"
