"""Energy per volume by local weeks is a ratio of sums, over weeks as long as they really are."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest

from api.analytics.energy import energy_weeks, hydraulic_over_electric, units_contradict
from api.analytics.facts import PumpFacts
from api.analytics.hours import hour_rows
from api.analytics.spans import HOUR_MS

Frame = Callable[..., pd.DataFrame]
FACTS = PumpFacts(pump="P01", interval_s=900)


def utc_ms(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


def rows(make_frame: Frame, first: str, last: str, **columns: object) -> pd.DataFrame:
    times = np.arange(utc_ms(first), utc_ms(last) + 1, 900_000)
    values: dict[str, object] = {"speed_rpm": 2000.0, "power_w": 1000.0, "flow_m3h": 20.0, "head_m": 9.0}
    return hour_rows(make_frame(times, **(values | columns)), FACTS)


def test_a_week_runs_from_local_monday_midnight_to_the_next(make_frame: Frame) -> None:
    weeks = energy_weeks(rows(make_frame, "2026-01-04T00:00", "2026-01-13T00:00"), "Europe/Athens")
    assert [week.start_utc_ms for week in weeks][1] == utc_ms("2026-01-04T22:00")
    assert [week.end_utc_ms for week in weeks][1] == utc_ms("2026-01-11T22:00")


@pytest.mark.parametrize(
    ("first", "last", "length_h"),
    [("2026-03-22T23:00", "2026-03-29T22:00", 167), ("2026-10-18T22:00", "2026-10-25T23:00", 169)],
)
def test_the_week_in_which_clocks_change_is_an_hour_shorter_or_longer(
    make_frame: Frame, first: str, last: str, length_h: int
) -> None:
    week = energy_weeks(rows(make_frame, first, last), "Europe/Berlin")[0]
    assert week.length_h == length_h
    assert week.energy_kwh == pytest.approx(length_h)
    assert week.share_with_readings == pytest.approx(1.0)


def test_a_week_without_readings_is_a_week_of_nothing_not_a_missing_week(make_frame: Frame) -> None:
    parts = [
        rows(make_frame, "2026-01-06T00:00", "2026-01-07T00:00"),
        rows(make_frame, "2026-01-20T00:00", "2026-01-21T00:00"),
    ]
    weeks = energy_weeks(pd.concat(parts), "UTC")
    assert [week.share_with_readings for week in weeks] == pytest.approx([1 / 7, 0, 1 / 7])
    assert weeks[1].kwh_per_m3 is None


def test_half_the_readings_halve_the_energy_seen_and_leave_the_ratio(make_frame: Frame) -> None:
    hours = rows(make_frame, "2026-01-05T00:00", "2026-01-12T00:00")
    seen = hours[(hours.index // HOUR_MS) % 2 == 0]
    week = energy_weeks(seen, "UTC")[0]
    assert week.share_with_readings == pytest.approx(0.5)
    assert week.energy_kwh == pytest.approx(84.0)
    assert week.kwh_per_m3 == pytest.approx(0.05)


def test_the_ratio_is_of_sums_not_the_mean_of_ratios(make_frame: Frame) -> None:
    first = rows(make_frame, "2026-01-05T00:00", "2026-01-06T00:00", power_w=1000.0, flow_m3h=20.0)
    second = rows(make_frame, "2026-01-07T00:00", "2026-01-08T00:00", power_w=200.0, flow_m3h=1.0)
    week = energy_weeks(pd.concat([first, second]), "UTC")[0]
    assert week.kwh_per_m3 == pytest.approx(1.2 / 21)


def test_a_pump_without_flow_has_energy_but_no_ratio(make_frame: Frame) -> None:
    week = energy_weeks(rows(make_frame, "2026-01-05T00:00", "2026-01-06T00:00", flow_m3h=np.nan), "UTC")[0]
    assert week.energy_kwh == pytest.approx(24.0)
    assert (week.kwh_per_m3, week.efficiency, week.mean_head_m) == (None, None, None)


def test_head_missing_for_a_day_does_not_lower_the_efficiency(make_frame: Frame) -> None:
    whole = rows(make_frame, "2026-01-05T00:00", "2026-01-06T00:00")
    without = rows(make_frame, "2026-01-07T00:00", "2026-01-08T00:00", head_m=np.nan)
    both = energy_weeks(pd.concat([whole, without]), "UTC")[0]
    assert both.efficiency == pytest.approx(energy_weeks(whole, "UTC")[0].efficiency)


def test_no_rows_give_no_weeks(make_frame: Frame) -> None:
    assert energy_weeks(hour_rows(make_frame([]), FACTS), "UTC") == []


# Ten cubic metres an hour at 12 m are 326 W of water; a pump of half that efficiency draws 652 W.
READ_RIGHT = {"flow_m3h": 10.0, "head_m": 12.0, "power_w": 652.0}


def test_an_hours_efficiency_is_work_over_energy(make_frame: Frame) -> None:
    hours = rows(make_frame, "2026-01-05T00:00", "2026-01-05T06:00", **READ_RIGHT)
    assert hydraulic_over_electric(hours)[:6] == pytest.approx(0.5, abs=0.001)


def test_an_hour_without_head_has_no_efficiency(make_frame: Frame) -> None:
    hours = rows(make_frame, "2026-01-05T00:00", "2026-01-05T06:00", **(READ_RIGHT | {"head_m": np.nan}))
    assert np.isnan(hydraulic_over_electric(hours)).all()


@pytest.mark.parametrize(
    ("wrong", "factor"),
    [
        # A US gallon is 231 cubic inches, a foot 0.3048 m (NIST SP 811, appendix B, from memory).
        ({"flow_m3h": 10.0 / (60 * 231 * 0.0254**3)}, 4.4029),
        ({"head_m": 12.0 / 0.3048}, 3.2808),
        ({"power_w": 0.652}, 1000.0),
    ],
    ids=["gallons a minute as m3/h", "feet as m", "kW as W"],
)
def test_a_wrong_unit_that_makes_energy_is_told(
    make_frame: Frame, wrong: dict[str, float], factor: float
) -> None:
    hours = rows(make_frame, "2026-01-05T00:00", "2026-01-07T00:00", **(READ_RIGHT | wrong))
    assert units_contradict(hours) == pytest.approx(0.5 * factor, rel=0.002)
    assert not energy_weeks(hours, "UTC")[0].is_possible


@pytest.mark.parametrize(("power_w", "told"), [(330.0, False), (322.0, True)])
def test_units_contradict_only_beyond_an_efficiency_of_one(
    make_frame: Frame, power_w: float, told: bool
) -> None:
    hours = rows(make_frame, "2026-01-05T00:00", "2026-01-07T00:00", **(READ_RIGHT | {"power_w": power_w}))
    assert (units_contradict(hours) is not None) is told
    assert energy_weeks(hours, "UTC")[0].is_possible is not told


def test_a_few_odd_hours_do_not_make_the_units_wrong(make_frame: Frame) -> None:
    usual = rows(make_frame, "2026-01-05T00:00", "2026-01-06T00:00", **READ_RIGHT)
    odd = rows(make_frame, "2026-01-07T00:00", "2026-01-07T08:00", **(READ_RIGHT | {"power_w": 100.0}))
    assert units_contradict(pd.concat([usual, odd])) is None


@pytest.mark.parametrize(("last", "told"), [("2026-01-05T11:00", False), ("2026-01-05T12:00", True)])
def test_twelve_hours_are_the_least_to_tell_units(make_frame: Frame, last: str, told: bool) -> None:
    hours = rows(make_frame, "2026-01-05T00:00", last, **(READ_RIGHT | {"power_w": 0.652}))
    assert (units_contradict(hours) is not None) is told
