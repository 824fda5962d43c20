"""Whole days and weeks of pumps as EPANET 2.2 worked them out, event step by event step.

``tests/reference/epanet_pump_steps.csv`` holds every step of pump 9 of Net1 (24 h) and of pumps 10 and 335 of
Net3 (168 h), the example networks that come with EPANET (public domain), run by the engine in wntr 1.5.0 with
its wire-to-water efficiency of 75 %. The "kWh per million gallons" of its own report is a mean of ratios, and
another number.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from api.analytics.energy import (
    CUBIC_METRES_A_US_GALLON,
    STANDARD_GRAVITY_M_S2,
    EnergyWeek,
    energy_weeks,
    hydraulic_power_w,
)
from api.analytics.facts import PumpFacts
from api.analytics.hours import hour_rows

Frame = Callable[..., pd.DataFrame]
STEPS = Path(__file__).parents[3] / "reference" / "epanet_pump_steps.csv"
MONDAY_UTC_MS = 1_767_571_200_000
GPM_M3H = CUBIC_METRES_A_US_GALLON * 60
FOOT_M = 0.3048
EPANET_DENSITY = 62.4 * 0.45359237 / FOOT_M**3
"""EPANET takes water as 62.4 lb/ft³."""

CASES = [
    # pump, kWh, US gallons, kWh a million gallons, hours on, starts: sums over EPANET's event steps.
    pytest.param("Net1", "9", 1333.2293, 1_515_108.7, 879.9562, 13.851111, 2, id="Net1 pump 9, 24 h"),
    pytest.param("Net3", "10", 6081.3356, 19_390_347.7, 313.6269, 98.0, 7, id="Net3 pump 10, 168 h"),
    pytest.param("Net3", "335", 12299.5259, 31_219_730.5, 393.9664, 39.756667, 8, id="Net3 pump 335, 168 h"),
]


def steps_of(net: str, pump: str) -> list[dict[str, float]]:
    with STEPS.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if (row["net"], row["pump"]) == (net, pump)]
    return [{name: float(row[name]) for name in row if name not in ("net", "pump")} for row in rows]


def readings(make_frame: Frame, steps: list[dict[str, float]]) -> pd.DataFrame:
    """Two readings a step, at its first and its last millisecond, so that all steps as it did there."""
    starts = np.array([step["start_s"] for step in steps]) * 1000
    ends = starts + np.array([step["length_s"] for step in steps]) * 1000 - 1
    times = np.column_stack([starts, ends]).ravel().astype(np.int64)

    def twice(name: str, factor: float) -> np.ndarray:
        return np.repeat([step[name] * factor for step in steps], 2)

    flow = twice("flow_gpm", GPM_M3H)
    return make_frame(
        MONDAY_UTC_MS + times,
        speed_rpm=np.where(flow > 0, 1750.0, 0.0),
        power_w=twice("power_kw", 1000.0),
        flow_m3h=flow,
        # EPANET's head loss of a pump is its head with the sign turned.
        head_m=np.where(flow > 0, twice("head_loss_ft", -FOOT_M), 0.0),
    )


def week_of(make_frame: Frame, net: str, pump: str) -> EnergyWeek:
    rows = hour_rows(readings(make_frame, steps_of(net, pump)), PumpFacts(pump=pump, interval_s=3600))
    (week,) = energy_weeks(rows, "UTC", EPANET_DENSITY)
    return week


@pytest.mark.parametrize(("net", "pump", "kwh", "gallons", "per_million", "on_h", "starts"), CASES)
def test_energy_volume_and_hours_of_a_period_are_epanets(
    make_frame: Frame,
    net: str,
    pump: str,
    kwh: float,
    gallons: float,
    per_million: float,
    on_h: float,
    starts: int,
) -> None:
    week = week_of(make_frame, net, pump)
    assert week.energy_kwh == pytest.approx(kwh, rel=1e-4)
    assert week.volume_m3 / CUBIC_METRES_A_US_GALLON == pytest.approx(gallons, rel=1e-4)
    assert week.kwh_per_1000_us_gal == pytest.approx(per_million / 1000, rel=1e-4)
    assert week.running_h == pytest.approx(on_h, rel=1e-4)
    # One that ran at the first reading had started before it.
    ran_at_first = steps_of(net, pump)[0]["flow_gpm"] > 0
    assert week.starts == starts - ran_at_first


@pytest.mark.parametrize(("net", "pump"), [("Net1", "9"), ("Net3", "10"), ("Net3", "335")])
def test_wire_to_water_of_a_period_is_the_75_percent_it_was_run_with(
    make_frame: Frame, net: str, pump: str
) -> None:
    # EPANET rounds a horsepower to 0.7457 kW: 1.0000002 of 745.69987 W; its 8.814 rounds by 0.001 %.
    assert week_of(make_frame, net, pump).efficiency == pytest.approx(0.75, rel=1e-4)


@pytest.mark.parametrize(("net", "pump"), [("Net1", "9"), ("Net3", "10"), ("Net3", "335")])
def test_every_steps_power_follows_from_its_flow_and_head(net: str, pump: str) -> None:
    running = [step for step in steps_of(net, pump) if step["flow_gpm"] > 0]
    ours = [
        hydraulic_power_w(step["flow_gpm"] * GPM_M3H, -step["head_loss_ft"] * FOOT_M, EPANET_DENSITY) / 750
        for step in running
    ]
    assert ours == pytest.approx([step["power_kw"] for step in running], rel=1e-4)


def test_a_mean_of_ratios_is_another_number() -> None:
    # EPANET's own report says 880.42 for Net1: the time mean of power over flow, 0.05 % more than the energy
    # over the volume.
    running = [step for step in steps_of("Net1", "9") if step["flow_gpm"] > 0]
    length = np.array([step["length_s"] for step in running])
    ratio = np.array([step["power_kw"] / (step["flow_gpm"] * 60) * 1e6 for step in running])
    assert float(np.average(ratio, weights=length)) == pytest.approx(880.42, abs=0.01)


def test_a_days_cost_is_that_of_epanets_report(make_frame: Frame) -> None:
    # 13.00586 kW for 24 h at 0.10 a kWh: 31.21 a day in EPANET's energy report (wntr 1.5.0).
    times = MONDAY_UTC_MS + np.arange(25) * 3_600_000
    frame = make_frame(times, speed_rpm=1750.0, power_w=13_005.86, flow_m3h=100.0)
    (week,) = energy_weeks(hour_rows(frame, PumpFacts(pump="P", interval_s=3600)), "UTC")
    assert week.energy_kwh * 0.10 == pytest.approx(31.21, abs=0.01)


@pytest.mark.parametrize(
    ("density", "factor"),
    [(1000.0, 2.724069e-3), (998.207, 2.724069e-3 * 0.998207), (970.393, 2.724069e-3 * 0.970393)],
)
def test_energy_per_volume_and_metre_is_the_trades(density: float, factor: float) -> None:
    # kWh/m³ = 2.724069e-3 * head in metres / efficiency, at 1000 kg/m³: g / 3.6e6 (g of CGPM 1901); water of
    # 20 °C and of 82.22 °C (180 °F) by IAPWS-95.
    assert density * STANDARD_GRAVITY_M_S2 / 3.6e6 == pytest.approx(factor, rel=1e-6)
    assert hydraulic_power_w(1.0, 1.0, density) / 1000 == pytest.approx(factor, rel=1e-6)
