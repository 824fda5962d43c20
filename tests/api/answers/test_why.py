"""Why a week differs, through the stored hours: the parts add up, and each cause is told as such."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from api.analysis.site_pass import analyse_site
from api.analytics.energy.weeks import same_week_last_year, week_of
from api.analytics.facts import ServiceEvent
from api.answers.source import Source
from api.answers.week_pages import week_page, why_page
from api.answers.weeks import pump_weeks
from api.answers.why import why, why_of_all
from collector.reading import Reading
from dashboards.views import EnergyWeek
from dashboards.why_views import Against, Compared, NotCompared, WhyPage

DAY_ROWS = 288
WEEK_ROWS = 7 * DAY_ROWS
WEEK_MS = 7 * 86_400_000
FIRST_MONDAY_MS = 1_780_272_000_000 - 3_600_000
Maker = Callable[[str], Source]


def of_week(source: Source, number: int, name: str = "Lap pool 1") -> EnergyWeek:
    weeks = pump_weeks(source, source.site.pump(name))
    return next(week for week in weeks if week.start_utc_ms == FIRST_MONDAY_MS + number * WEEK_MS)


def told(source: Source, number: int, against: Against = "before", name: str = "Lap pool 1") -> Compared:
    found = why(source, source.site.pump(name), of_week(source, number, name), against)
    assert isinstance(found, Compared)
    return found


def part(found: Compared, name: str) -> float:
    return sum(each.kwh_per_m3 for each in found.parts if each.part == name)


def analysed_with(
    new_site: Maker,
    small_site: Any,  # noqa: ANN401
    change: Callable[[Reading], Reading],
    from_week: int,
    weeks: int,
) -> Source:
    source = new_site("changed")
    rows = small_site.readings("Lap pool 1", 0, weeks * WEEK_ROWS + 24, seed=1)
    since = FIRST_MONDAY_MS + from_week * WEEK_MS
    source.store.append([change(each) if each.time_utc_ms >= since else each for each in rows])
    analyse_site(source.site, source.store, source.api_store, source.clock)
    return source


def page_of(source: Source, pump: str | None, number: int | None = None) -> WhyPage:
    start = None if number is None else FIRST_MONDAY_MS + number * WEEK_MS
    page = why_page(source, None if pump is None else source.site.pump(pump), start)
    assert page is not None
    return page


@pytest.mark.parametrize("against", ["before", "baseline"])
def test_the_parts_add_up_from_then_to_now(analysed: Source, against: Against) -> None:
    found = told(analysed, 4, against, "Lap <b>pool</b> 2")
    change = found.now_kwh_per_m3 - found.before_kwh_per_m3
    assert math.fsum(each.kwh_per_m3 for each in found.parts) == pytest.approx(change, rel=1e-9)
    assert found.now_kwh_per_m3 == of_week(analysed, 4, "Lap <b>pool</b> 2").kwh_per_m3


def test_drag_is_told_as_the_pump(new_site: Maker, small_site: Any) -> None:  # noqa: ANN401
    def dearer(each: Reading) -> Reading:
        return replace(each, power_w=(each.power_w or 0.0) * 1.06)

    found = told(analysed_with(new_site, small_site, dearer, 4, 5), 4)
    assert found.now_kwh_per_m3 / found.before_kwh_per_m3 == pytest.approx(1.06, abs=0.01)
    change = found.now_kwh_per_m3 - found.before_kwh_per_m3
    assert part(found, "pump") / change == pytest.approx(1.0, abs=0.05)


def test_a_faster_pump_on_the_same_system_is_told_as_head(
    new_site: Maker,
    small_site: Any,  # noqa: ANN401
) -> None:
    def faster(each: Reading) -> Reading:
        # The affinity laws (ISO 17769-1 names them; common practice): flow by 1, head by 2, power by 3.
        speed, flow, head, power = (
            value or 0.0 for value in (each.speed_rpm, each.flow_m3h, each.head_m, each.power_w)
        )
        return replace(
            each, speed_rpm=speed * 1.02, flow_m3h=flow * 1.02, head_m=head * 1.0404, power_w=power * 1.061208
        )

    found = told(analysed_with(new_site, small_site, faster, 4, 5), 4)
    change = found.now_kwh_per_m3 - found.before_kwh_per_m3
    assert part(found, "head") / change == pytest.approx(1.0, abs=0.05)
    head = next(each for each in found.parts if each.part == "head")
    assert head.ratio == pytest.approx(1.0404, abs=0.003)


def test_measured_temperature_makes_the_density_a_part(new_site: Maker, small_site: Any) -> None:  # noqa: ANN401
    # IAPWS-95 at atmospheric pressure: 998.207 kg/m³ at 20 °C, 983.196 at 60 °C; power goes with density.
    def warm(each: Reading) -> Reading:
        return replace(each, fluid_temperature_c=60.0, power_w=(each.power_w or 0.0) * 983.196 / 998.207)

    source = new_site("warm")
    rows = small_site.readings("Lap pool 1", 0, 5 * WEEK_ROWS + 24, seed=1)
    since = FIRST_MONDAY_MS + 4 * WEEK_MS
    cool = [replace(each, fluid_temperature_c=20.0) for each in rows]
    source.store.append([warm(each) if each.time_utc_ms >= since else each for each in cool])
    analyse_site(source.site, source.store, source.api_store, source.clock)
    found = told(source, 4)
    change = found.now_kwh_per_m3 - found.before_kwh_per_m3
    assert change / found.before_kwh_per_m3 == pytest.approx(983.196 / 998.207 - 1, abs=2e-3)
    assert part(found, "density") / found.before_kwh_per_m3 == pytest.approx(-0.01515, abs=5e-4)
    assert found.has_measured_temperature


def test_a_temperature_in_one_of_the_two_alone_makes_no_change_of_density(
    new_site: Maker,
    small_site: Any,  # noqa: ANN401
) -> None:
    def measured(each: Reading) -> Reading:
        return replace(each, fluid_temperature_c=60.0)

    found = told(analysed_with(new_site, small_site, measured, 4, 5), 4)
    assert part(found, "density") == pytest.approx(0.0, abs=1e-15)
    assert not found.has_measured_temperature


def test_across_a_new_baseline_pump_and_place_stand_together(
    new_site: Maker,
    small_site: Any,  # noqa: ANN401
) -> None:
    source = new_site("mended")
    work = ServiceEvent(
        time_utc_ms=FIRST_MONDAY_MS + 3 * WEEK_MS + 3_600_000, kind="impeller_changed", new_baseline=True
    )
    source.api_store.add_event("Lap pool 1", work, "technician")
    source.store.append(small_site.readings("Lap pool 1", 0, 5 * WEEK_ROWS, seed=1))
    analyse_site(source.site, source.store, source.api_store, source.clock)
    found = told(source, 3)
    assert found.not_told == "new_baseline"
    assert {each.part for each in found.parts} == {"head", "density", "efficiency"}
    assert told(source, 4).not_told == "new_baseline"


def test_before_there_is_a_curve_pump_and_place_stand_together(
    new_site: Maker,
    small_site: Any,  # noqa: ANN401
) -> None:
    source = new_site("young")
    stopped = [
        replace(each, speed_rpm=None) for each in small_site.readings("Lap pool 1", 0, 2 * WEEK_ROWS, seed=1)
    ]
    source.store.append(stopped)
    analyse_site(source.site, source.store, source.api_store, source.clock)
    assert told(source, 1).not_told == "no_curve"
    assert why(source, source.site.pumps[0], of_week(source, 1), "baseline") == NotCompared(
        against="baseline", because="no_baseline"
    )


@pytest.mark.parametrize(
    ("number", "against", "because"), [(0, "before", "no_readings"), (4, "last_year", "no_readings")]
)
def test_without_readings_then_nothing_is_compared(
    analysed: Source, number: int, against: Against, because: str
) -> None:
    found = why(analysed, analysed.site.pumps[0], of_week(analysed, number), against)
    assert isinstance(found, NotCompared)
    assert found.because == because


def test_a_week_that_is_in_parts_then_is_said_with_its_share(
    new_site: Maker,
    small_site: Any,  # noqa: ANN401
) -> None:
    source = new_site("parts")
    rows = small_site.readings("Lap pool 1", 0, 2 * WEEK_ROWS, seed=1)
    source.store.append(rows[WEEK_ROWS * 6 // 10 :])
    analyse_site(source.site, source.store, source.api_store, source.clock)
    found = told(source, 1)
    assert found.is_part_before
    assert found.share_before == pytest.approx(0.4, abs=0.01)


def test_the_sites_change_is_that_of_its_table_and_its_parts_add_up(analysed: Source) -> None:
    start = FIRST_MONDAY_MS + 4 * WEEK_MS
    page = week_page(analysed, start)
    assert page is not None
    assert page.compared is not None
    weeks = {row.pump: row.week for row in page.pumps}
    found = why_of_all(analysed, weeks, "before")
    assert isinstance(found, Compared)
    both = (page.compared.kwh_per_m3, page.compared.before_kwh_per_m3)
    assert (found.now_kwh_per_m3, found.before_kwh_per_m3) == both
    assert math.fsum(each.kwh_per_m3 for each in found.parts) == pytest.approx(both[0] - both[1], rel=1e-9)
    assert found.pumps == page.compared.pumps


def test_water_that_another_pump_moved_is_told_as_a_mix(new_site: Maker, small_site: Any) -> None:  # noqa: ANN401
    source = new_site("turns")
    stands = {"speed_rpm": 0.0, "flow_m3h": 0.0, "head_m": 0.0, "power_w": 0.0}
    half = FIRST_MONDAY_MS + WEEK_MS
    cheap = small_site.readings("Lap pool 1", 0, 2 * WEEK_ROWS, seed=1)
    dear = [
        replace(each, power_w=(each.power_w or 0.0) * 1.5)
        for each in small_site.readings("Lap <b>pool</b> 2", 0, 2 * WEEK_ROWS, seed=1)
    ]
    source.store.append([replace(each, **stands) if each.time_utc_ms >= half else each for each in cheap])
    source.store.append([replace(each, **stands) if each.time_utc_ms < half else each for each in dear])
    analyse_site(source.site, source.store, source.api_store, source.clock)
    page = week_page(source, half)
    assert page is not None
    found = why_of_all(source, {row.pump: row.week for row in page.pumps}, "before")
    assert isinstance(found, Compared)
    change = found.now_kwh_per_m3 - found.before_kwh_per_m3
    assert change / found.before_kwh_per_m3 == pytest.approx(0.5, abs=0.01)
    # The step across midnight belongs to both weeks and both pumps: that is the rest of it.
    assert part(found, "mix") == pytest.approx(change, rel=0.02)


def test_the_page_of_a_whole_week_prices_a_loss_of_head_a_year(analysed: Source) -> None:
    (worth,) = page_of(analysed, "Lap <b>pool</b> 2", 4).findings
    assert worth.card.kind == "head_loss"
    assert worth.low_kwh <= worth.extra_kwh <= worth.high_kwh
    assert worth.weeks_a_year == pytest.approx(365.25 / 7)


def test_from_a_week_that_is_not_over_no_year_is_made(analysed: Source) -> None:
    (worth,) = page_of(analysed, "Lap <b>pool</b> 2", 5).findings
    assert worth.weeks_a_year is None


def test_other_controls_say_what_share_they_counted(analysed: Source) -> None:
    rows = page_of(analysed, "Lap pool 1", 3).controls
    assert [row.mode for row in rows] == [
        "constant_pressure",
        "lower_setpoint",
        "proportional_pressure",
        "least_seen",
    ]
    assert all(0 < row.counted_share <= 1 for row in rows)
    assert rows[1].setpoint_m == pytest.approx(0.9 * rows[0].setpoint_m)


def test_without_a_week_named_the_newest_whole_one_is_explained(analysed: Source) -> None:
    assert page_of(analysed, "Lap pool 1").week.start_utc_ms == FIRST_MONDAY_MS + 4 * WEEK_MS
    assert page_of(analysed, None).pumps == ("Lap pool 1", "Lap <b>pool</b> 2", "Hot tub")


def test_a_week_without_readings_has_no_page(analysed: Source) -> None:
    assert why_page(analysed, analysed.site.pumps[0], FIRST_MONDAY_MS - WEEK_MS) is None
    assert why_page(analysed, analysed.site.pump("Fountain")) is None


@pytest.mark.parametrize(
    ("day", "zone", "length_h"),
    [
        (date(2026, 3, 29), "Europe/Lisbon", 167),
        (date(2026, 10, 25), "Europe/Lisbon", 169),
        (date(2026, 11, 25), "Europe/Lisbon", 168),
        (date(2026, 10, 25), "UTC", 168),
    ],
)
def test_a_week_is_from_local_monday_to_monday(day: date, zone: str, length_h: int) -> None:
    start, end = week_of(day, zone)
    assert (end - start) / 3_600_000 == length_h


@pytest.mark.parametrize(
    ("monday", "then"),
    [
        # ISO 8601: 2026 has 53 weeks and 2025 has 52, so week 53 has no fellow.
        (date(2026, 11, 9), date(2025, 11, 10)),
        (date(2026, 12, 28), date(2025, 12, 29)),
        (date(2027, 1, 4), date(2025, 12, 29)),
    ],
)
def test_the_same_week_last_year_has_the_same_iso_number(monday: date, then: date) -> None:
    assert same_week_last_year(monday) == then
