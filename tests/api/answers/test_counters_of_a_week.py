"""The drive's own counters beside a week's integrated energy, through the stored hours."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from api.analysis.site_pass import analyse_site
from api.answers.counters import counters
from api.answers.source import Source
from api.answers.weeks import listed_weeks, pump_weeks
from dashboards.counter_views import Counters

DAY_ROWS = 288
WEEK_MS = 7 * 86_400_000
FIRST_MONDAY_MS = 1_780_272_000_000 - 3_600_000
"""Monday 1 June 2026, midnight in Lisbon."""
SECOND_MONDAY_MS = FIRST_MONDAY_MS + WEEK_MS
STEP_H = 1 / 12
Maker = Callable[[str], Source]


def counting(small_site: Any, first: int, rows: int, **changes: Any) -> list[Any]:  # noqa: ANN401
    """Readings with a perfect drive's counters: the trapezoid of its own power, and its hours."""
    made = small_site.readings("Lap pool 1", 0, first + rows, seed=1)
    energy, counted = 0.0, []
    for place, each in enumerate(made):
        if place:
            energy += (each.power_w + made[place - 1].power_w) / 2 * STEP_H / 1000
        counted.append(replace(each, energy_kwh=round(energy, 4), run_time_h=round(place * STEP_H, 4)))
    return [change(each) for each in counted[first:] for change in [changes.get("change", lambda one: one)]]


def analysed_site(new_site: Maker, readings: list[Any]) -> Source:
    source = new_site("counting")
    source.store.append(readings)
    analyse_site(source.site, source.store, source.api_store, source.clock)
    return source


def second_week(source: Source) -> Counters:
    found = counters(source, source.site.pumps[0], SECOND_MONDAY_MS, SECOND_MONDAY_MS + WEEK_MS)
    assert found is not None
    return found


def integrated_kwh(source: Source) -> float:
    weeks = {week.start_utc_ms: week for week in pump_weeks(source, source.site.pumps[0])}
    energy = weeks[SECOND_MONDAY_MS].energy_kwh
    assert energy is not None
    return energy


def test_a_true_counter_agrees_with_the_integral_of_power(new_site: Maker, small_site: Any) -> None:  # noqa: ANN401
    source = analysed_site(new_site, counting(small_site, 0, 15 * DAY_ROWS))
    found = second_week(source)
    assert found.energy_kwh == pytest.approx(integrated_kwh(source), rel=1e-3)
    assert found.difference == pytest.approx(0.0, abs=1e-3)
    assert found.run_time_h == pytest.approx(168, abs=0.1)
    assert found.hours_compared >= 166
    assert found.notices == ()


def test_the_counter_knows_of_two_days_without_readings(new_site: Maker, small_site: Any) -> None:  # noqa: ANN401
    every = counting(small_site, 0, 15 * DAY_ROWS)
    gap = [*every[: 9 * DAY_ROWS], *every[11 * DAY_ROWS :]]
    whole_kwh = integrated_kwh(analysed_site(new_site, every))
    cut = new_site("cut")
    cut.store.append(gap)
    analyse_site(cut.site, cut.store, cut.api_store, cut.clock)
    found = second_week(cut)
    # Five of seven days alike were read: a sum over them alone, and nothing filled in.
    assert integrated_kwh(cut) == pytest.approx(whole_kwh * 5 / 7, rel=0.02)
    assert found.energy_kwh == pytest.approx(whole_kwh, rel=1e-3)
    assert found.across_gaps_kwh == pytest.approx(whole_kwh * 2 / 7, rel=0.02)


def test_a_replaced_drive_is_said_and_makes_no_energy(new_site: Maker, small_site: Any) -> None:  # noqa: ANN401
    changed_ms = SECOND_MONDAY_MS + 3 * 86_400_000

    def other_drive(each: Any) -> Any:  # noqa: ANN401
        far = each.time_utc_ms >= changed_ms
        return replace(each, energy_kwh=round(each.energy_kwh + 70_000, 4)) if far else each

    source = analysed_site(new_site, counting(small_site, 0, 15 * DAY_ROWS, change=other_drive))
    found = second_week(source)
    assert found.energy_kwh == pytest.approx(integrated_kwh(source), rel=0.01)
    assert [notice.what for notice in found.notices] == ["other_drive"]


def test_a_drive_that_reads_high_shows_in_the_difference(new_site: Maker, small_site: Any) -> None:  # noqa: ANN401
    def less(each: Any) -> Any:  # noqa: ANN401
        return replace(each, energy_kwh=round(each.energy_kwh / 1.05, 4))

    source = analysed_site(new_site, counting(small_site, 0, 15 * DAY_ROWS, change=less))
    found = second_week(source)
    assert found.difference == pytest.approx(0.05, abs=1e-3)
    assert not found.is_within_resolution


def test_a_pump_without_counters_has_none(analysed: Source) -> None:
    assert counters(analysed, analysed.site.pumps[0], SECOND_MONDAY_MS, SECOND_MONDAY_MS + WEEK_MS) is None
    week = listed_weeks(analysed, "Lap pool 1")[0]
    assert (week["counter_kwh"], week["counter_across_gaps_kwh"], week["counter_notices"]) == (None, None, [])


def test_programs_are_told_of_the_counter(new_site: Maker, small_site: Any) -> None:  # noqa: ANN401
    source = analysed_site(new_site, counting(small_site, 0, 15 * DAY_ROWS))
    week = listed_weeks(source, "Lap pool 1")[1]
    assert week["integrated_over_counter"] == pytest.approx(1.0, abs=1e-3)
    assert week["counter_kwh"] == pytest.approx(week["energy_kwh"], rel=1e-3)
