"""A change in one sentence, its limits, its picture, and what a drive's counter says."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dashboards.counter_views import CounterNotice, Counters
from dashboards.figures.waterfall import waterfall_figure
from dashboards.pages.why_rows import part_rows
from dashboards.views import EnergyWeek, UnitSystem
from dashboards.why_views import Compared, NotCompared, WhyPart, WhyPicture
from dashboards.wording.why import counter_sentence, why_notes, why_sentence

WEEK_MS = 7 * 86_400_000
NOW_MS = 1_792_591_200_000
GALLONS = 3.785411784
"""kWh per 1000 US gallons for each kWh/m³ (NIST SP 811: 1 gal = 3.785411784 L)."""


def compared(before: float, parts: dict[str, tuple[float, float | None]], **more: Any) -> Compared:  # noqa: ANN401
    told = tuple(WhyPart(part=name, kwh_per_m3=value, ratio=ratio) for name, (value, ratio) in parts.items())
    return Compared(
        against="before",
        start_utc_ms=NOW_MS - 2 * WEEK_MS,
        end_utc_ms=NOW_MS - WEEK_MS,
        before_kwh_per_m3=before,
        now_kwh_per_m3=before + sum(value for value, _ in parts.values()),
        parts=told,
        **{"judged_share": 1.0, **more},
    )


def week(**more: Any) -> EnergyWeek:  # noqa: ANN401
    facts: dict[str, Any] = {
        "start_utc_ms": NOW_MS - WEEK_MS,
        "end_utc_ms": NOW_MS,
        "energy_kwh": 180.0,
        "volume_m3": 1800.0,
        "kwh_per_m3": 0.1,
        "running_h": 168.0,
        "starts": 0,
        "share_with_readings": 1.0,
    }
    return EnergyWeek(**(facts | more))


MORE_HEAD = compared(1.3, {"head": (0.078, 1.06), "pump": (0.001, 1.0008), "place": (0.0, 1.0)})


def test_more_head_is_said_and_that_the_pump_took_what_it_took() -> None:
    assert why_sentence(MORE_HEAD, "SI") == (
        "0.0790\u00a0kWh/m³ more (+6.1\u00a0%): the system asked for 6.0\u00a0% more head; "
        "the pump itself took as much as then for the same flow and head."
    )


def test_of_several_pumps_it_speaks_of_pumps() -> None:
    assert "the pumps themselves took" in why_sentence(replace(MORE_HEAD, pumps=3), "SI")


def test_the_amount_is_in_the_readers_units() -> None:
    shown = float(why_sentence(MORE_HEAD, "US").split("\u00a0")[0])
    assert shown == pytest.approx(0.079 * GALLONS, abs=5e-4)


def test_the_pump_is_named_where_it_took_more() -> None:
    found = compared(1.0, {"head": (0.001, 1.001), "pump": (0.05, 1.051)})
    assert "the pump itself took 5.1\u00a0% more for the same flow and head" in why_sentence(found, "SI")


def test_less_head_names_no_cause() -> None:
    found = compared(1.0, {"head": (-0.05, 0.95), "pump": (0.0, 1.0)})
    assert "5.0\u00a0% less head was held" in why_sentence(found, "SI")


def test_causes_that_work_against_each_other_are_both_told() -> None:
    found = compared(1.0, {"head": (0.06, 1.06), "place": (-0.06, 1.064), "pump": (0.0, 1.0)})
    said = why_sentence(found, "SI")
    assert said.startswith("As much energy per volume as then (0.0\u00a0%): ")
    assert "more head" in said
    assert "better place" in said


def test_a_small_part_beside_a_large_one_is_left_to_the_picture() -> None:
    found = compared(1.0, {"head": (0.20, 1.2), "density": (0.01, 1.01), "pump": (0.0, 1.0)})
    assert "heavier" not in why_sentence(found, "SI")


def test_where_the_pump_cannot_be_told_from_its_place_nothing_is_said_of_the_pump() -> None:
    found = compared(1.0, {"efficiency": (0.05, 0.952)}, not_told="no_curve")
    said = why_sentence(found, "SI")
    assert "by the pump or its place on the curve" in said
    assert "itself" not in said
    assert any("there is no own curve yet" in note for note in why_notes(found, week()))


def test_what_was_not_read_is_said() -> None:
    (note,) = why_notes(MORE_HEAD, week(share_with_readings=0.4))
    assert note == "This week has readings for 40\u00a0% of its time; nothing is filled in."
    (other,) = why_notes(replace(MORE_HEAD, is_part_before=True, share_before=0.4), week())
    assert "only 40\u00a0% was read" in other


def test_a_whole_week_on_a_whole_week_needs_no_note() -> None:
    assert why_notes(MORE_HEAD, week()) == ()


@pytest.mark.parametrize("because", ["no_readings", "no_water", "impossible", "no_baseline", "no_whole_week"])
def test_no_comparison_is_a_sentence_of_its_own(because: Any) -> None:  # noqa: ANN401
    said = why_sentence(NotCompared(against="last_year", because=because), "SI")
    assert said.endswith(".")
    assert "{" not in said


def picture(found: Compared | NotCompared) -> WhyPicture:
    return WhyPicture(
        name="P01",
        units="SI",
        time_zone="UTC",
        now_utc_ms=NOW_MS,
        week_start_utc_ms=NOW_MS - WEEK_MS,
        compared=found,
    )


def test_the_steps_of_the_picture_lead_from_then_to_now() -> None:
    (steps,) = waterfall_figure(picture(MORE_HEAD)).data
    assert steps["x"] == pytest.approx([1.3, 0.078, 0.001, 0.0, 1.379])
    assert steps["measure"] == ["absolute", "relative", "relative", "relative", "total"]


def test_the_axis_holds_every_step() -> None:
    found = compared(1.0, {"head": (0.3, 1.3), "place": (-0.4, 1.4)})
    low, high = waterfall_figure(picture(found)).layout["xaxis"]["range"]
    assert low < 0.9
    assert high > 1.3


def test_the_table_beside_the_picture_has_every_step() -> None:
    table = waterfall_figure(picture(MORE_HEAD)).table
    assert [row[0] for row in table.rows][1:-1] == ["Head", "The pump itself", "Place on its curve"]
    assert table.rows[-1][-1] == "+6.1\u00a0%"


def counting(**more: Any) -> EnergyWeek:  # noqa: ANN401
    facts: dict[str, Any] = {"energy_kwh": 200.0, "difference": 0.01, "hours_compared": 140}
    return week(counters=Counters(**(facts | more)))


def test_the_counter_is_held_against_the_integral() -> None:
    said = counter_sentence(counting())
    assert "rose by 200.0\u00a0kWh." in said
    assert "+1.0\u00a0% against it over 140 whole hours" in said


def test_with_gaps_the_counter_is_called_the_better_figure() -> None:
    said = counter_sentence(counting(across_gaps_kwh=20.0))
    assert "20.0\u00a0kWh of it without readings" in said
    assert "the counter is the better figure" in said
    assert "better" not in counter_sentence(counting())


def test_within_the_counters_step_they_agree() -> None:
    assert "as well as the counter's steps tell" in counter_sentence(counting(is_within_resolution=True))


@pytest.mark.parametrize(("difference", "is_said"), [(0.049, False), (0.051, True), (-0.051, True)])
def test_a_large_difference_is_called_a_wrong_factor(difference: float, is_said: bool) -> None:
    said = counter_sentence(counting(difference=difference, across_gaps_kwh=1.0))
    assert ("wrong factor" in said) is is_said
    assert ("better figure" in said) is not is_said


def test_a_replaced_drive_is_said_and_its_counter_not_called_better() -> None:
    notice = CounterNotice(counter="energy_kwh", time_utc_ms=NOW_MS, what="other_drive")
    said = counter_sentence(counting(across_gaps_kwh=20.0, notices=(notice,)))
    assert "as after a drive was replaced" in said
    assert "better figure" not in said


def test_without_a_counter_nothing_is_said() -> None:
    assert counter_sentence(week()) == ""


@pytest.mark.parametrize(
    ("units", "shown"), [("US", "0.00045\xa0kWh/1000\xa0gal"), ("SI", "0.000120\xa0kWh/m³")]
)
def test_a_small_part_is_shown_with_more_places_than_the_whole(units: UnitSystem, shown: str) -> None:
    rows = part_rows(compared(0.0436, {"place": (0.00012, 0.997)}), units)
    assert rows[0][1].replace(" ", "\xa0") == shown
    assert rows[0][2] == "+0.3\xa0%"
