from __future__ import annotations

import gzip
import re
from html.parser import HTMLParser
from types import SimpleNamespace

import pytest

from api.analytics.finding import Kind
from dashboards import addresses, pages
from dashboards.views import ErrorPage, FindingPage, SitePage


class Reader(HTMLParser):
    """Gathers what a test asks about: elements, their attributes, links."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    return reader


def every_page(invented: SimpleNamespace) -> dict[str, str]:
    frame = invented.frame()
    return {
        "site": pages.site_page(invented.site()),
        "pump": pages.pump_page(invented.pump_page()),
        "finding": pages.finding_page(FindingPage(frame=frame, card=invented.worn(invented.HOSTILE))),
        "week": pages.week_page(invented.week_page()),
        "explained": pages.explained_page(frame),
        "first run": pages.site_page(SitePage(frame=frame, site_file="<i>site.toml</i>")),
        "error": pages.error_page(ErrorPage(frame=frame, status=404, sentence="No pump is called <b>x</b>.")),
    }


NAMES = ("site", "pump", "finding", "week", "explained", "first run", "error")


@pytest.mark.parametrize("name", NAMES)
def test_no_page_holds_script_or_style_of_its_own(invented: SimpleNamespace, name: str) -> None:
    elements = read(every_page(invented)[name]).elements
    assert all(attributes.get("src") for tag, attributes in elements if tag == "script")
    assert not [tag for tag, _ in elements if tag == "style"]
    assert not [
        key for _, attributes in elements for key in attributes if key == "style" or key.startswith("on")
    ]


@pytest.mark.parametrize("name", NAMES)
def test_no_page_names_another_host(invented: SimpleNamespace, name: str) -> None:
    for _, attributes in read(every_page(invented)[name]).elements:
        for key in ("src", "href", "action"):
            assert (attributes.get(key) or "").split("?")[0].count("//") == 0


@pytest.mark.parametrize("name", NAMES)
def test_names_with_markup_stay_text(invented: SimpleNamespace, name: str) -> None:
    html = every_page(invented)[name]
    assert "<img src=x" not in html
    assert "<b>x" not in html
    assert "<i>site" not in html


@pytest.mark.parametrize("name", NAMES)
def test_each_page_has_one_first_heading_a_language_and_the_cautions(
    invented: SimpleNamespace, name: str
) -> None:
    html = every_page(invented)[name]
    tags = [tag for tag, _ in read(html).elements]
    assert tags.count("h1") == 1
    assert '<html lang="en">' in html
    assert "licensed people decide" in html


@pytest.mark.parametrize("name", NAMES)
def test_units_are_switched_on_the_page_itself(invented: SimpleNamespace, name: str) -> None:
    html = every_page(invented)[name]
    assert "units=US" in html
    if name == "pump":
        assert 'href="/pump?name=P02&amp;units=US"' in html


def test_us_units_reach_the_page(invented: SimpleNamespace) -> None:
    html = pages.site_page(invented.site(units="US"))
    assert "gpm" in html
    assert "m³/h" not in html


@pytest.mark.parametrize("units", ["SI", "US"])
def test_the_list_of_pumps_says_a_unit_once_and_not_in_each_cell(
    invented: SimpleNamespace, units: str
) -> None:
    html = pages.site_page(invented.site(units=units))
    table = html[html.index("<table") : html.index("</table>")]
    cells = [re.sub("<[^>]*>", "", f"<td{part.split('</td>')[0]}") for part in table.split("<td")[1:]]
    assert f"Flow, {'gpm' if units == 'US' else 'm³/h'}</th>" in table
    assert not [cell for cell in cells if any(unit in cell for unit in ("gpm", "m³", "kWh", "rpm", " ft"))]


def test_a_page_asks_for_new_values_in_its_own_units(invented: SimpleNamespace) -> None:
    # Else units switched in another window would put a number below a header of the other unit.
    assert 'data-live-source="/live?units=US"' in pages.site_page(invented.site(units="US"))
    html = pages.pump_page(invented.pump_page(units="US"))
    assert 'data-live-source="/live?pump=P02&amp;units=US"' in html
    assert "/figure/head?pump=P02&amp;range=week&amp;units=US" in html


@pytest.mark.parametrize("name", ["finding", "week"])
def test_the_time_of_the_data_follows_on(invented: SimpleNamespace, name: str) -> None:
    assert 'data-live-source="/live?pump=' in every_page(invented)[name]


def test_a_known_code_is_not_looked_up_again(invented: SimpleNamespace) -> None:
    known = invented.card(Kind.DRIVE_FAULT)
    unknown = invented.card(Kind.DRIVE_FAULT, fault_meaning="")
    htmls = [pages.finding_page(FindingPage(frame=invented.frame(), card=each)) for each in (known, unknown)]
    assert ["Look the code up" in html for html in htmls] == [False, True]


def test_the_manuals_check_is_the_first_step_with_every_caution_before_it(invented: SimpleNamespace) -> None:
    html = pages.finding_page(FindingPage(frame=invented.frame(), card=invented.card(Kind.DRIVE_FAULT)))
    first = html[html.index('<ol class="steps">') :].split("<li>")[1]
    assert first.startswith("As the drive's manual says: Clear the fan and the fins.")
    for caution in ("lock it out", "capacitors", "may start by itself", "licensed electricians"):
        assert caution in html[: html.index('<ol class="steps">')]


def test_the_list_says_the_manuals_check_as_the_next_step(invented: SimpleNamespace) -> None:
    html = pages.site_page(invented.site())
    assert "</strong> As the manual says: Clear the fan and the fins." in html


def test_a_name_is_parted_inside_a_word_only_when_the_word_is_endless(invented: SimpleNamespace) -> None:
    rows = (invented.row("Diving pool circulation"), invented.row("X" * 60))
    html = pages.site_page(SitePage(frame=invented.frame(), pumps=rows))
    assert "<bdi>Diving pool circulation</bdi>" in html
    assert f'<bdi class="breakable">{"X" * 60}</bdi>' in html


def test_the_worst_finding_is_the_first_on_the_page(invented: SimpleNamespace) -> None:
    html = pages.site_page(invented.site())
    assert html.index("Running against a closed valve") < html.index("Repeated starts")


def test_a_pump_without_findings_is_not_called_healthy(invented: SimpleNamespace) -> None:
    page = SitePage(frame=invented.frame(), pumps=(invented.row("P01"),))
    html = pages.site_page(page).lower()
    words = html[html.index("<main") : html.index("</main")]
    assert "nothing to act on was found" in words
    assert "healthy" not in words


@pytest.mark.parametrize("kind", list(Kind))
def test_every_kind_has_a_page_with_checks_in_order(invented: SimpleNamespace, kind: Kind) -> None:
    html = pages.finding_page(FindingPage(frame=invented.frame(), card=invented.card(kind)))
    assert '<ol class="steps">' in html


def test_a_finding_is_acknowledged_once(invented: SimpleNamespace) -> None:
    seen = invented.card(Kind.HUNTING, acknowledged_utc_ms=invented.NOW_MS, acknowledged_by="engineer")
    html = pages.finding_page(FindingPage(frame=invented.frame(), card=seen))
    assert "<form" not in html
    assert "by the engineer" in html


def test_a_stale_page_says_so_without_any_script(invented: SimpleNamespace) -> None:
    html = pages.site_page(invented.site(data_as_of_utc_ms=invented.NOW_MS - invented.HOUR_MS))
    assert "Readings have stopped" in html


def test_a_week_with_few_readings_says_so(invented: SimpleNamespace) -> None:
    weeks = invented.weeks()
    page = invented.week_page()
    assert "part only" not in pages.week_page(page)
    thin = type(page.pumps[0])(pump="P01", week=weeks[3])
    html = pages.week_page(
        type(page)(frame=page.frame, start_utc_ms=0, end_utc_ms=604_800_000, pumps=(thin,))
    )
    assert "part only" in html


def test_addresses_carry_any_name(invented: SimpleNamespace) -> None:
    assert "<" not in addresses.pump_address(invented.HOSTILE)
    assert addresses.figure_address("head", "a&b=c") == "/figure/head?pump=a%26b%3Dc&range=week"


def test_two_hundred_pumps_are_a_light_page_over_the_wire(invented: SimpleNamespace) -> None:
    # A page for a plant room's phone: under 300 KB with the fastest compression, the chart library apart.
    rows = tuple(
        invented.row(f"P{number:03}", invented.worn(f"P{number:03}", number)) for number in range(200)
    )
    html = pages.site_page(SitePage(frame=invented.frame(), pumps=rows))
    assert len(gzip.compress(html.encode(), compresslevel=1)) < 300_000


def test_the_readmes_picture_is_a_small_one() -> None:
    picture = (pages.STATIC_FOLDER.parent / "pages" / "pump_page.png").read_bytes()
    assert picture.startswith(b"\x89PNG")
    assert len(picture) <= 120_000
