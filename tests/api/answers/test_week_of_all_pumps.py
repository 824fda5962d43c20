"""The last row of the week table, against sums over the raw readings themselves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from api.analysis.site_pass import analyse_site
from api.answers.source import Source
from api.answers.week_pages import week_page
from dashboards.week_views import WeekPage

WEEK_ROWS = 7 * 288
LISBON_MS = 3_600_000
"""The site's midnight comes an hour before that of UTC in summer."""
SECOND_WEEK_MS = 1_780_272_000_000 + 7 * 86_400_000 - LISBON_MS
PUMPS = ("Lap pool 1", "Lap <b>pool</b> 2", "Hot tub")


def raw_sums(small_site: Any, week: int) -> tuple[float, float, float]:  # noqa: ANN401 - the maker of readings
    """Return sums over one week's readings: power to the water [W], power taken [W], flow [m³/s]."""
    work = energy = volume = 0.0
    for seed, pump in enumerate(PUMPS, 1):
        for each in small_site.readings(pump, week * WEEK_ROWS - 12, WEEK_ROWS, seed=seed):
            # Kell (1975), as in IAPWS-95: water at 20 °C has 998.2 kg/m³; gravity as agreed by CGPM 1901.
            work += 998.2 * 9.80665 * each.flow_m3h / 3600 * each.head_m
            energy += each.power_w
            volume += each.flow_m3h / 3600
    return work, energy, volume


def test_all_pumps_efficiency_is_their_work_over_their_energy(analysed: Source, small_site: Any) -> None:  # noqa: ANN401
    page = week_page(analysed, SECOND_WEEK_MS)
    work, energy, _ = raw_sums(small_site, 1)
    assert page is not None
    assert page.site is not None
    assert page.site.efficiency == pytest.approx(work / energy, rel=2e-3)


def test_all_pumps_change_is_of_sums(analysed: Source, small_site: Any) -> None:  # noqa: ANN401
    page = week_page(analysed, SECOND_WEEK_MS + 7 * 86_400_000)
    assert page is not None
    assert page.compared is not None
    assert page.compared.pumps == 3
    both = ((page.compared.kwh_per_m3, 2), (page.compared.before_kwh_per_m3, 1))
    for kwh_per_m3, place in both:
        _, energy, volume = raw_sums(small_site, place)
        assert kwh_per_m3 == pytest.approx(energy / volume / 3.6e6, rel=2e-3)


def test_a_first_week_has_nothing_before_it(analysed: Source) -> None:
    page = week_page(analysed, SECOND_WEEK_MS - 7 * 86_400_000)
    assert page is not None
    assert page.compared is None


def of_one_pump(page: WeekPage | None, name: str) -> tuple[float | None, float | None]:
    assert page is not None
    (row,) = (row for row in page.pumps if row.pump == name)
    assert row.before is not None
    return row.week.kwh_per_m3, row.before.kwh_per_m3


@pytest.mark.parametrize(
    ("first", "rows"),
    [(WEEK_ROWS, WEEK_ROWS), (0, WEEK_ROWS - 288), (4 * 288, 2 * WEEK_ROWS - 4 * 288)],
    ids=["came later", "has gone", "came in the middle of the week before"],
)
def test_the_change_is_that_of_the_pumps_with_both_weeks_whole(
    new_site: Callable[[str], Source],
    small_site: Any,  # noqa: ANN401
    first: int,
    rows: int,
) -> None:
    source = new_site("changing")
    source.store.append(small_site.readings("Lap pool 1", 0, 2 * WEEK_ROWS, seed=1))
    source.store.append(small_site.readings("Hot tub", first, rows, seed=3))
    analyse_site(source.site, source.store, source.api_store, source.clock)
    page = week_page(source, SECOND_WEEK_MS)
    assert page is not None
    assert page.compared is not None
    assert page.compared.pumps == 1
    both = (page.compared.kwh_per_m3, page.compared.before_kwh_per_m3)
    assert both == pytest.approx(of_one_pump(page, "Lap pool 1"))


def test_a_pump_read_in_wrong_units_is_in_no_sum(
    new_site: Callable[[str], Source],
    small_site: Any,  # noqa: ANN401
) -> None:
    source = new_site("gallons")
    source.store.append(small_site.readings("Lap pool 1", 0, 2 * WEEK_ROWS, seed=1))
    wrong = small_site.readings("Hot tub", 0, 2 * WEEK_ROWS, seed=3)
    # Gallons a minute and feet taken for m³/h and m: 4.40 and 3.28 times too much (NIST SP 811, B.8).
    source.store.append([replace(e, flow_m3h=e.flow_m3h * 4.403, head_m=e.head_m * 3.281) for e in wrong])
    analyse_site(source.site, source.store, source.api_store, source.clock)
    page = week_page(source, SECOND_WEEK_MS)
    assert page is not None
    assert page.site is not None
    assert page.left_out == ("Hot tub",)
    (good,) = (row.week for row in page.pumps if row.pump == "Lap pool 1")
    assert (page.site.energy_kwh, page.site.volume_m3) == (good.energy_kwh, good.volume_m3)
    assert page.site.efficiency == pytest.approx(good.efficiency)
