"""A code on a label says the address of the pump's page, read by a decoder that is none of ours."""

from __future__ import annotations

import re

import numpy as np
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboards.addresses import pump_address
from dashboards.figures.qr_code import LARGEST_TEXT, QUIET_MODULES, QrCode, qr_code
from dashboards.label_views import Label, LabelPage
from dashboards.pages import label_page
from dashboards.views import PageFrame

PIXELS = 4
FRAME = PageFrame(
    site_name="Baths",
    time_zone="UTC",
    units="SI",
    now_utc_ms=0,
    data_as_of_utc_ms=None,
    is_imported_only=True,
)


def drawn(code: QrCode) -> np.ndarray:
    """Return the code as grey pixels: its path is rectangles one module high."""
    picture = np.full((code.modules, code.modules), 255, dtype=np.uint8)
    for x, y, length, back in re.findall(r"M(\d+) (\d+)h(\d+)v1h-(\d+)z", code.path):
        assert length == back
        picture[int(y), int(x) : int(x) + int(length)] = 0
    return np.kron(picture, np.ones((PIXELS, PIXELS), dtype=np.uint8))


def decoded(code: QrCode) -> str:
    """Return what zxing-cpp, a decoder of its own, reads."""
    (found,) = zxingcpp.read_barcodes(drawn(code))
    assert found.format == zxingcpp.BarcodeFormat.QRCode
    return str(found.text)


@pytest.mark.parametrize("name", ["P01", "Diving pool circulation", "Größe & Co/<b>1</b>", "x" * 100])
def test_the_code_says_the_address(name: str) -> None:
    address = f"http://pumps.local:8620{pump_address(name)}"
    assert decoded(qr_code(address)) == address


@settings(max_examples=40, deadline=None)
@given(st.text(st.characters(categories=("L", "N", "P")), min_size=1, max_size=40))
def test_whatever_a_pump_is_called_its_code_leads_to_it(name: str) -> None:
    address = f"http://pumps.local:8620{pump_address(name)}"
    assert decoded(qr_code(address)) == address


def test_the_code_stands_in_a_quiet_zone_of_four_modules() -> None:
    picture = drawn(qr_code("http://pumps.local:8620/pump?name=P01"))
    edge = QUIET_MODULES * PIXELS
    assert picture[:edge].min() == picture[-edge:].min() == 255
    assert picture[:, :edge].min() == picture[:, -edge:].min() == 255


def test_a_code_bears_a_scratch() -> None:
    code = qr_code("http://pumps.local:8620/pump?name=P01")
    picture = drawn(code)
    middle = picture.shape[0] // 2
    picture[middle : middle + PIXELS] = 255
    (found,) = zxingcpp.read_barcodes(picture)
    assert found.text == "http://pumps.local:8620/pump?name=P01"


@pytest.mark.parametrize("text", ["", "x" * (LARGEST_TEXT + 1)])
def test_nothing_and_too_much_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match="a code holds 1 to 1000 letters"):
        qr_code(text)


def page_of(*names: str) -> str:
    labels = tuple(
        Label(pump=name, place="", address=f"http://pumps.local:8620{pump_address(name)}") for name in names
    )
    return label_page(LabelPage(frame=FRAME, site_file="site.toml", labels=labels))


def test_a_name_that_makes_the_code_too_fine_gets_no_code_and_is_told_so() -> None:
    # 100 letters of three bytes each are 900 letters of address: more modules than 34 mm show.
    fits, fine = page_of("P" * 100), page_of("\N{CYRILLIC SMALL LETTER ZHE}" * 100)
    assert "<path d=" in fits
    assert "<path d=" not in fine
    assert "No code: its name makes the address too long" in fine


def test_without_an_address_the_page_says_what_to_set_and_prints_none() -> None:
    page = page_of()
    assert 'address = "http://pumps.local:8620"' in page.replace("&#34;", '"')
    assert "site.toml" in page
    assert "<svg" not in page


def test_a_name_with_markup_is_shown_as_it_is() -> None:
    page = page_of("<script>alert(1)</script>")
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page
