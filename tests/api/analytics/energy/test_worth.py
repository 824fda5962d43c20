"""A finding's price is the energy beyond what the own curve would have taken for the same water."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import Curve
from api.analytics.energy.duties import duties
from api.analytics.energy.worth import WEEKS_A_YEAR, worth_of
from api.analytics.energy.yardsticks import COOLING_W_PER_GPM, HEATING_W_PER_GPM, kwh_per_m3_of, w_per_gpm
from api.analytics.finding import Evidence, Finding, Kind, Priority
from tests.api.analytics.energy.conftest import constant, held


def finding(kind: Kind, effect: float | None, low: float | None = None, high: float | None = None) -> Finding:
    about: dict[str, Any] = {"effect": effect, "effect_low": low, "effect_high": high}
    return Finding(
        pump="P01", kind=kind, first_utc_ms=0, last_utc_ms=1, active=True, priority=Priority.PLANNED, **about
    )


def energy(hours: pd.DataFrame) -> float:
    return float(hours["energy_kwh"].sum())


@pytest.mark.parametrize("lost", [0.03, 0.10])
def test_a_loss_of_head_costs_what_the_healthy_pump_would_have_saved(wide_curve: Curve, lost: float) -> None:
    # Truth: the same pump without the loss, holding the same head at the same flow.
    week = held(21, 7, constant, lost=lost)
    told = worth_of(finding(Kind.HEAD_LOSS, -lost), wide_curve, duties(week, wide_curve))
    assert told is not None
    assert told.extra_kwh == pytest.approx(energy(week) - energy(held(21, 7, constant)), rel=0.02)
    assert told.judged_share == pytest.approx(1.0)


def test_a_loss_of_head_with_less_power_costs_less_than_one_without(wide_curve: Curve) -> None:
    # Truth: the week as it was drawn, a pump that has lost head and takes 5 % less at each flow and speed.
    week = held(21, 7, constant, lost=0.06, dearer=-0.05)
    lost = replace(
        finding(Kind.HEAD_LOSS, -0.06), evidence=(Evidence(name="power_residual_fraction", value=-0.05),)
    )
    told = worth_of(lost, wide_curve, duties(week, wide_curve))
    assert told is not None
    assert told.extra_kwh == pytest.approx(
        energy(week) - energy(held(21, 7, constant)), abs=0.002 * energy(week)
    )


@pytest.mark.parametrize("kind", [Kind.POWER_SHIFT, Kind.MECHANICAL_DRAG])
def test_power_above_the_own_curve_costs_that_power(wide_curve: Curve, kind: Kind) -> None:
    week = held(21, 7, constant, dearer=0.08)
    told = worth_of(finding(kind, 0.08), wide_curve, duties(week, wide_curve))
    assert told is not None
    assert told.extra_kwh == pytest.approx(energy(week) - energy(held(21, 7, constant)), rel=1e-3)


def test_a_loaded_strainer_costs_the_head_that_it_takes(wide_curve: Curve) -> None:
    def loaded(flow: np.ndarray) -> np.ndarray:
        return constant(flow) * 1.2

    week = held(21, 7, loaded)
    told = worth_of(finding(Kind.RESISTANCE_RISE, 0.2), wide_curve, duties(week, wide_curve))
    assert told is not None
    assert told.extra_kwh == pytest.approx(energy(week) - energy(held(21, 7, constant)), rel=0.01)


def test_the_interval_of_the_effect_becomes_that_of_the_price(wide_curve: Curve) -> None:
    seen = duties(held(21, 7, constant, lost=0.04), wide_curve)
    told = worth_of(finding(Kind.HEAD_LOSS, -0.04, -0.05, -0.03), wide_curve, seen)
    ends = [worth_of(finding(Kind.HEAD_LOSS, effect), wide_curve, seen) for effect in (-0.03, -0.05)]
    assert told is not None
    assert [told.low_kwh, told.high_kwh] == [end.extra_kwh for end in ends if end is not None]
    assert told.low_kwh < told.extra_kwh < told.high_kwh


def test_a_year_is_as_many_weeks_as_it_has(wide_curve: Curve) -> None:
    seen = duties(held(21, 7, constant, dearer=0.08), wide_curve)
    week = worth_of(finding(Kind.POWER_SHIFT, 0.08), wide_curve, seen)
    assert week is not None
    year = week.times(WEEKS_A_YEAR)
    assert year.extra_kwh / week.extra_kwh == pytest.approx(52.18, abs=0.005)
    assert year.judged_share == week.judged_share


@pytest.mark.parametrize("kind", [Kind.REPEATED_STARTS, Kind.DRIVE_FAULT, Kind.FROZEN_READING, Kind.HUNTING])
def test_what_costs_no_energy_has_no_price(wide_curve: Curve, kind: Kind) -> None:
    assert worth_of(finding(kind, 3.0), wide_curve, duties(held(21, 7, constant), wide_curve)) is None


def test_a_finding_without_a_size_or_a_week_without_duties_has_no_price(wide_curve: Curve) -> None:
    week = held(21, 7, constant)
    assert worth_of(finding(Kind.HEAD_LOSS, None), wide_curve, duties(week, wide_curve)) is None
    assert worth_of(finding(Kind.HEAD_LOSS, -0.03), wide_curve, duties(week.iloc[:0], wide_curve)) is None


def test_the_design_yardsticks_are_the_energy_per_volume_that_they_say() -> None:
    # ASHRAE 90.1 baseline pump power, from memory: 19 W/gpm heating, 22 W/gpm chilled water. By hand:
    # 19 W over one gallon a minute is 19/60 Wh a gallon, 0.3167 kWh per 1000 gal.
    gallon_m3 = 3.785411784e-3
    assert kwh_per_m3_of(HEATING_W_PER_GPM) * gallon_m3 * 1000 == pytest.approx(19 / 60, rel=1e-9)
    assert kwh_per_m3_of(COOLING_W_PER_GPM) * gallon_m3 * 1000 == pytest.approx(22 / 60, rel=1e-9)
    assert w_per_gpm(kwh_per_m3_of(20.0)) == pytest.approx(20.0)
