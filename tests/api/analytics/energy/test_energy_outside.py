"""Energy and hydraulic power against sources outside the project."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import head_terms
from api.analytics.energy import (
    CUBIC_METRES_A_US_GALLON,
    energy_weeks,
    hydraulic_power_w,
    wire_to_water_efficiency,
)
from api.analytics.facts import PumpFacts
from api.analytics.hours import hour_rows

FOOT_M = 0.3048
GPM_M3H = CUBIC_METRES_A_US_GALLON * 60
POUND_A_CUBIC_FOOT = 0.45359237 / FOOT_M**3
EPANET_DENSITY = 62.4 * POUND_A_CUBIC_FOOT
"""EPANET takes water as 62.4 lb/ft³; it also rounds a horsepower to 0.7457 kW."""


@pytest.mark.parametrize(
    ("flow_gpm", "head_ft", "kilowatt"),
    [(1866.176, 204.3474, 95.8448), (3435.196, 72.6959, 62.7637), (13157.875, 93.443, 309.015)],
    ids=["Net1 pump 9 at 0 h", "Net3 pump 10 at 1 h", "Net3 pump 335 at 0 h"],
)
def test_pump_power_agrees_with_epanet(flow_gpm: float, head_ft: float, kilowatt: float) -> None:
    # Source: EPANET 2.2 as carried by wntr 1.5.0, bundled networks Net1 and Net3, wire to water 75 %.
    power_w = hydraulic_power_w(flow_gpm * GPM_M3H, head_ft * FOOT_M, EPANET_DENSITY) / 0.75
    assert power_w / 1000 == pytest.approx(kilowatt, rel=1e-4)


# Source: EPANET 2.2 (wntr 1.5.0), reservoir - pump - 3280.84 ft of 6 in pipe (C 100) - reservoir, no static
# head; curve 120/105/60 ft at 0/500/1000 gpm, efficiency 0/45/70/78/70 % at 0/250/500/750/1000 gpm.
CONTROLLED_RUN = pd.DataFrame(
    {
        "speed": [1.0, 0.9, 0.8, 0.6],
        "flow_gpm": [490.0880, 437.8509, 386.0107, 283.7235],
        "head_ft": [105.58882, 85.69719, 67.85975, 38.37006],
        "power_kw": [14.13500, 10.35299, 7.31125, 3.12948],
        "efficiency": [0.69009, 0.68318, 0.67535, 0.65573],
    }
)


def test_period_energy_of_a_speed_pattern_agrees_with_epanet(make_frame: Callable[..., pd.DataFrame]) -> None:
    # Pattern of speeds 1/0.9/0.8/0.6/0/0, an hour each, four times: EPANET sums to 139.7149 kWh and
    # 383,441.5 gal, 364.371 kWh a million gallons; the mean of ratios would be 343.572.
    pattern = np.tile([0, 1, 2, 3, 4, 4], 4)
    table = pd.concat(
        [
            CONTROLLED_RUN,
            pd.DataFrame({"speed": [0.0], "flow_gpm": [0.0], "head_ft": [0.0], "power_kw": [0.0]}),
        ]
    )
    step = np.repeat(pattern, 2)
    # Two readings an hour, at its first and last millisecond: power steps at the hour as it did there.
    times = np.repeat(np.arange(24), 2) * 3_600_000 + np.tile([0, 3_599_999], 24)
    frame = make_frame(
        times,
        speed_rpm=table["speed"].to_numpy()[step] * 1750,
        power_w=table["power_kw"].to_numpy()[step] * 1000,
        flow_m3h=table["flow_gpm"].to_numpy()[step] * GPM_M3H,
        head_m=table["head_ft"].to_numpy()[step] * FOOT_M,
    )
    week = energy_weeks(hour_rows(frame, PumpFacts(pump="P01", interval_s=3600)), "UTC")[0]
    assert week.energy_kwh == pytest.approx(139.7149, rel=1e-4)
    assert week.volume_m3 / CUBIC_METRES_A_US_GALLON == pytest.approx(383_441.5, rel=1e-4)
    assert week.kwh_per_1000_us_gal == pytest.approx(0.364371, rel=1e-4)
    assert week.running_h == pytest.approx(16, rel=1e-4)
    assert week.starts == 3  # EPANET counts 4: it saw the first start, before our first reading.


def test_the_mean_of_the_ratios_of_that_day_is_5_7_percent_off() -> None:
    # EPANET's report prints 343.572, the mean of the hours' ratios; the energy over the volume is
    # 364.371 kWh a million gallons.
    ratios = CONTROLLED_RUN["power_kw"] / (CONTROLLED_RUN["flow_gpm"] * 60 / 1e6)
    of_sums = CONTROLLED_RUN["power_kw"].sum() / (CONTROLLED_RUN["flow_gpm"].sum() * 60 / 1e6)
    assert float(ratios.mean()) == pytest.approx(343.572, rel=1e-4)
    assert float(ratios.mean() / of_sums - 1) == pytest.approx(-0.057, abs=5e-4)


@pytest.mark.parametrize(
    ("energy_kwh", "gallons", "kwh_per_kgal"),
    [
        (1333.2293, 1_515_108.7, 0.8799562),
        (6081.3356, 19_390_347.7, 0.3136269),
        (12299.5259, 31_219_730.5, 0.3939664),
    ],
    ids=["Net1 pump 9, 24 h", "Net3 pump 10, 168 h", "Net3 pump 335, 168 h"],
)
def test_energy_a_thousand_gallons_agrees_with_epanet_sums(
    make_frame: Callable[..., pd.DataFrame], energy_kwh: float, gallons: float, kwh_per_kgal: float
) -> None:
    # Source: EPANET 2.2 (wntr 1.5.0), event steps summed; its own report prints the mean of ratios instead.
    rows = hour_rows(make_frame([0, 1000], power_w=1.0, flow_m3h=1.0), PumpFacts(pump="P01"))
    volume_m3 = gallons * CUBIC_METRES_A_US_GALLON
    rows[["energy_kwh", "paired_energy_kwh"]] = energy_kwh
    rows[["volume_m3", "paired_volume_m3"]] = volume_m3
    assert energy_weeks(rows, "UTC")[0].kwh_per_1000_us_gal == pytest.approx(kwh_per_kgal, rel=1e-6)


def test_efficiency_from_power_flow_and_head_agrees_with_epanets_carry_over() -> None:
    for _, row in CONTROLLED_RUN.iterrows():
        flow, head = row["flow_gpm"] * GPM_M3H, row["head_ft"] * FOOT_M
        ours = wire_to_water_efficiency(flow, head, row["power_kw"] * 1000, EPANET_DENSITY)
        assert ours == pytest.approx(row["efficiency"], abs=1e-4)


def test_the_head_model_carries_a_curve_to_another_speed_as_epanet_does() -> None:
    # 120 - 6e-5 Q² ft at full speed (gpm); affinity makes it 120 s² - 6e-5 Q².
    terms = head_terms(CONTROLLED_RUN["flow_gpm"].to_numpy(), CONTROLLED_RUN["speed"].to_numpy())
    assert terms @ [120.0, 0.0, -6e-5] == pytest.approx(CONTROLLED_RUN["head_ft"].to_numpy(), abs=1e-5)


@pytest.mark.parametrize(
    ("gpm", "feet", "pump", "motor", "drive", "kilowatt", "kwh_per_kgal"),
    [
        (1000, 100, 0.75, 0.90, 1.0, 27.8975, 0.46496),
        (100, 40, 0.6, 0.85, 0.95, 1.5547, 0.25911),
        (500, 60, 0.78, 0.93, 0.965, 8.0702, 0.26901),
        (25, 20, 0.45, 0.80, 1.0, 0.2615, 0.17436),
    ],
)
def test_worked_cases_of_the_trade_formula(
    gpm: float, feet: float, pump: float, motor: float, drive: float, kilowatt: float, kwh_per_kgal: float
) -> None:
    # Water horsepower = gpm ft / 3960: Mississippi State Extension F804 "Irrigation Facts"; 3960 stands for
    # water of 8.3333 lb a gallon.
    density = 0.45359237 * (33000 / 3960) / CUBIC_METRES_A_US_GALLON
    power_w = hydraulic_power_w(gpm * GPM_M3H, feet * FOOT_M, density) / (pump * motor * drive)
    assert power_w / 1000 == pytest.approx(kilowatt, abs=6e-5)
    assert power_w / 1000 / (gpm * 60 / 1000) == pytest.approx(kwh_per_kgal, abs=6e-6)


def test_a_circulator_at_its_duty_has_the_efficiency_its_readings_imply() -> None:
    # Common practice: 1445-1460 W while moving 225-230 gpm against almost 20 ft is near 59 %.
    efficiency = wire_to_water_efficiency(227.5 * GPM_M3H, 19.9 * FOOT_M, 1452.5)
    assert efficiency == pytest.approx(0.59, abs=0.01)


def test_hot_water_takes_less_power_than_the_trade_constant_says() -> None:
    # 180 °F water: gpm ft / 4074.9 a horsepower (density 970.393, IAPWS-95), so 3960 over-reads by 2.8-2.9 %.
    hot = hydraulic_power_w(100, 10, 970.393)
    assert hydraulic_power_w(
        100, 10, 0.45359237 * (33000 / 3960) / CUBIC_METRES_A_US_GALLON
    ) / hot == pytest.approx(4074.9 / 3960, abs=1e-4)
