from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from dashboards.pages import week_page
from dashboards.pages.week_table import NOT_THE_SAME, change_of, change_of_all, titles


def last_row(html: str) -> str:
    return html[html.index("<tfoot") : html.index("</tfoot>")]


def test_all_pumps_change_is_that_of_the_sums(invented: SimpleNamespace) -> None:
    # 110 kWh and 109 kWh over the same 2310 m³: 110 / 109 - 1 = 0.92 %, by hand.
    page = invented.week_page()
    assert change_of_all(page) == "+0.9\u00a0%"
    assert "+0.9\u00a0%" in last_row(week_page(page))


def test_all_pumps_efficiency_stands_in_the_last_row(invented: SimpleNamespace) -> None:
    assert "56\u00a0%" in last_row(week_page(invented.week_page()))


def test_weeks_of_other_pumps_are_not_compared(invented: SimpleNamespace) -> None:
    page = replace(invented.week_page(), same_pumps=False)
    assert change_of_all(page) == NOT_THE_SAME
    assert NOT_THE_SAME in last_row(week_page(page))


def test_a_first_week_has_no_change(invented: SimpleNamespace) -> None:
    page = invented.week_page()
    assert change_of_all(replace(page, site_before=None)) == "–"
    assert change_of(replace(page.pumps[0], before=None)) == "–"


@pytest.mark.parametrize(("units", "volume"), [("SI", "Volume, m³"), ("US", "Volume, 1000 gal")])
def test_units_stand_in_the_headers(invented: SimpleNamespace, units: str, volume: str) -> None:
    assert titles(invented.frame(units=units))["volume"] == volume


@pytest.mark.parametrize("units", ["SI", "US"])
def test_no_cell_repeats_the_unit_of_its_header(invented: SimpleNamespace, units: str) -> None:
    html = week_page(invented.week_page(units=units))
    cells = [part.split("</td>")[0].split(">", 1)[1] for part in html.split("<td")[1:]]
    assert len(cells) == 4 * len(titles(invented.frame()))
    assert not [cell for cell in cells if any(unit in cell for unit in ("kWh", "gal", "m³", "ft", "EUR"))]


def test_without_a_price_there_is_no_cost(invented: SimpleNamespace) -> None:
    assert "cost" not in titles(invented.frame(currency=""))
