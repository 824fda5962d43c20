"""How tests look at a page: opened in a browser, and with what it asked for and complained of noted."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit

from playwright.sync_api import Browser, Page

KNOWN = "Applying inline style violates the following Content Security Policy"
"""The chart library tries to add a style sheet for maps, which are not used here; the policy stops it."""


@contextmanager
def opened(
    browser: Browser,
    address: str,
    *,
    width: int = 1360,
    scheme: str = "light",
    java_script: bool = True,
    is_checked: bool = False,
) -> Iterator[Page]:
    """Open a page, ready; ``is_checked`` lets the checker of accessibility in.

    The checker is a script put into the page, which the policy that is served would rightly stop.
    """
    context = browser.new_context(
        viewport={"width": width, "height": 844},
        color_scheme=scheme,  # type: ignore[arg-type]
        java_script_enabled=java_script,
        bypass_csp=is_checked,
    )
    page = context.new_page()
    try:
        page.goto(address)
        if java_script:
            page.wait_for_selector("body[data-ready]")
        yield page
    finally:
        context.close()


def foreign_and_errors(browser: Browser, address: str) -> tuple[set[str], list[str]]:
    """Return the other places a page asked, and its errors but for the known one."""
    context = browser.new_context()
    page = context.new_page()
    asked: list[str] = []
    errors: list[str] = []
    page.on("request", lambda request: asked.append(urlsplit(request.url).netloc))
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda said: errors.append(said.text) if said.type == "error" else None)
    page.goto(address)
    page.wait_for_selector("body[data-ready]")
    context.close()
    foreign = set(asked) - {urlsplit(address).netloc, ""}
    return foreign, [error for error in errors if not error.startswith(KNOWN)]
