"""Make the picture of a pump page that the README shows. Run by hand, never by a test.

1. In one terminal, let the demonstration run (an address is printed after about half a minute)::

       .venv/bin/owncurve demo --data ANY_NEW_FOLDER --port 8711

2. Wait a minute until readings come, and in another terminal::

       .venv/bin/python tests/dashboards/make_readme_picture.py http://127.0.0.1:8711

3. If it says that the picture is larger than 120 KB, write it with 128 colours. That takes Pillow, which the
   product does not need, so it stands in an environment of its own; end the line above with::

       --colours 128 --pillow PATH_TO_THAT_ENVIRONMENT/bin/python

4. Look at ``dashboards/pages/pump_page.png`` before it is committed.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path
from typing import Final

from playwright.sync_api import Page, sync_playwright

PUMP: Final = "/pump?name=Diving+pool+circulation&units=US"
PICTURE: Final = Path(__file__).parents[2] / "dashboards" / "pages" / "pump_page.png"
LARGEST_BYTES: Final = 120_000
SIZE: Final = {"width": 1160, "height": 1600}
LAST_SHOWN: Final = "figure[data-figure=against]"
DRAWN: Final = "document.querySelectorAll('.plot .main-svg').length >= 4"
PALETTE: Final = """
import sys
from PIL import Image
Image.open(sys.argv[1]).convert("RGB").quantize(int(sys.argv[2]), dither=0).save(sys.argv[1], optimize=True)
"""


def main() -> int:
    """Take the picture from the running demonstration named on the command line, and say how large it is."""
    parser = argparse.ArgumentParser(description="Make the README's picture of a pump page.")
    parser.add_argument("address", help="of a running demonstration, such as http://127.0.0.1:8711")
    parser.add_argument("--chromium", default="/usr/bin/chromium", help="the browser to use")
    parser.add_argument("--colours", type=int, help="write the picture with so many colours, by Pillow")
    parser.add_argument("--pillow", default=sys.executable, help="a Python that has Pillow")
    asked = parser.parse_args()
    take(asked.address.rstrip("/"), asked.chromium)
    if asked.colours:
        subprocess.run([asked.pillow, "-c", PALETTE, str(PICTURE), str(asked.colours)], check=True)
    size = PICTURE.stat().st_size
    print(f"{PICTURE}: {size:,} bytes, at most {LARGEST_BYTES:,}")
    return int(size > LARGEST_BYTES)


def take(address: str, chromium: str) -> None:
    """Write the heart of the page: title, values, finding, curve pictures, head against the own curve."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport=SIZE, color_scheme="light")  # type: ignore[arg-type]
        page.goto(address + PUMP)
        page.wait_for_selector("body[data-ready]")
        with page.expect_response(lambda answer: "/figure/trend" in answer.url and "month" in answer.url):
            page.check("input[name=range][value=month]")
        page.wait_for_function(DRAWN)
        page.wait_for_timeout(1500)
        cut(page)
        browser.close()


def cut(page: Page) -> None:
    """Write the page from its title down to the last picture shown, without the parts around it."""
    box = page.locator(LAST_SHOWN).bounding_box()
    if box is None:
        raise SystemExit(f"{page.url}: {LAST_SHOWN} is not on the page")
    top = page.locator("main").bounding_box()
    start = top["y"] if top else 0.0
    clip = {
        "x": 0.0,
        "y": start,
        "width": float(SIZE["width"]),
        "height": box["y"] + box["height"] + 6 - start,
    }
    page.screenshot(path=PICTURE, full_page=True, clip=clip)  # type: ignore[arg-type]


if __name__ == "__main__":
    sys.exit(main())
