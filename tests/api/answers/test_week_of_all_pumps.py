"""The last row of the week table, against sums over the raw readings themselves."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from api.analysis.site_pass import analyse_site
from api.answers.pages import week_page
from api.answers.source import Source

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
    assert page.site is not None
    assert page.site_before is not None
    assert page.same_pumps
    for week, place in ((page.site, 2), (page.site_before, 1)):
        _, energy, volume = raw_sums(small_site, place)
        assert week.kwh_per_m3 == pytest.approx(energy / volume / 3.6e6, rel=2e-3)


def test_a_first_week_has_nothing_before_it(analysed: Source) -> None:
    page = week_page(analysed, SECOND_WEEK_MS - 7 * 86_400_000)
    assert page is not None
    assert page.site_before is None


@pytest.mark.parametrize("second_from_row", [0, WEEK_ROWS])
def test_a_pump_that_came_later_is_noticed(
    new_site: Callable[[str], Source],
    small_site: Any,  # noqa: ANN401
    second_from_row: int,
) -> None:
    source = new_site("grown")
    source.store.append(small_site.readings("Lap pool 1", 0, 2 * WEEK_ROWS, seed=1))
    later = small_site.readings("Hot tub", second_from_row, 2 * WEEK_ROWS - second_from_row, seed=3)
    source.store.append(later)
    analyse_site(source.site, source.store, source.api_store, source.clock)
    page = week_page(source, SECOND_WEEK_MS)
    assert page is not None
    assert page.same_pumps is (second_from_row == 0)


def test_a_pump_that_has_gone_is_noticed(new_site: Callable[[str], Source], small_site: Any) -> None:  # noqa: ANN401
    source = new_site("shrunk")
    source.store.append(small_site.readings("Lap pool 1", 0, 2 * WEEK_ROWS, seed=1))
    source.store.append(small_site.readings("Hot tub", 0, WEEK_ROWS - 288, seed=3))
    analyse_site(source.site, source.store, source.api_store, source.clock)
    page = week_page(source, SECOND_WEEK_MS)
    assert page is not None
    assert not page.same_pumps
