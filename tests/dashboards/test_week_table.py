from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest

from dashboards.pages import week_page
from dashboards.pages.week_table import change_of, change_of_all, titles


def last_row(html: str) -> str:
    return html[html.index("<tfoot") : html.index("</tfoot>")]


def test_all_pumps_change_is_that_of_the_sums(invented: SimpleNamespace) -> None:
    # 110 kWh and 109 kWh over the same 2310 m³: 110 / 109 - 1 = 0.92 %, by hand.
    page = invented.week_page()
    assert change_of_all(page) == "+0.9\u00a0%"
    assert "+0.9\u00a0%" in last_row(week_page(page))


def test_all_pumps_efficiency_stands_in_the_last_row(invented: SimpleNamespace) -> None:
    assert "56\u00a0%" in last_row(week_page(invented.week_page()))


def test_a_change_of_fewer_pumps_says_of_how_many(invented: SimpleNamespace) -> None:
    page = invented.week_page()
    fewer = replace(page, compared=replace(page.compared, pumps=1))
    assert change_of_all(fewer) == "+0.9\u00a0% (of 1 with both weeks whole)"


def test_a_change_against_a_part_of_a_week_says_so(invented: SimpleNamespace) -> None:
    row = invented.week_page().pumps[0]
    part = replace(row.before, share_with_readings=0.29)
    assert change_of(replace(row, before=part)).endswith("(a part of the week before)")
    assert change_of(replace(row, week=replace(row.week, has_ended=False))).endswith("(a part of this week)")
    assert "(" not in change_of(row)


def test_a_pump_whose_units_contradict_is_named_as_in_no_sum(invented: SimpleNamespace) -> None:
    page = invented.week_page()
    wrong = replace(page.pumps[0], week=replace(page.pumps[0].week, efficiency=5.19))
    html = week_page(replace(page, pumps=(wrong, *page.pumps[1:]), left_out=(wrong.pump,)))
    assert change_of(wrong) == "–"
    assert "All pumps but 1" in last_row(html)
    assert "In no sum:" in html


def test_a_first_week_has_no_change(invented: SimpleNamespace) -> None:
    page = invented.week_page()
    assert change_of_all(replace(page, compared=None)) == "–"
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
