"""The pump's curves and the fluids against EPANET 2.2, IAPWS-95, CoolProp and a trade bulletin."""

from __future__ import annotations

import numpy as np
import pytest

from simulator.plant import CurveSpec, PumpSpec, SensorSpec, SystemSpec
from simulator.plant.curve import (
    as_new,
    efficiency_at_speed,
    estimated_flow_m3h,
    head_m,
    input_power_w,
    leak_for_head_loss,
    shaft_from_input_w,
    shaft_power_w,
)
from simulator.plant.duty import meet
from simulator.plant.fluids import density_kg_m3, viscosity_mpa_s

GPM_M3H = 3.785411784e-3 * 60
FOOT_M = 0.3048

# EPANET 2.2 on a controlled network: pump 120/105/60 ft at 0/500/1000 gpm, that is 120 - 6e-5 Q^2 exactly.
# Columns: speed, flow gpm, head ft, efficiency from the curve 0/45/70/78/70 % at 0/250/500/750/1000 gpm.
EPANET_ROWS = (
    (1.0, 490.0880, 105.58882, 69.009),
    (0.9, 437.8509, 85.69719, 68.318),
    (0.8, 386.0107, 67.85975, 67.535),
    (0.6, 283.7235, 38.37006, 65.573),
    (0.9, 359.3962, 89.45006, 59.509),
    (0.6, 150.3935, 41.84291, 42.187),
)


def epanet_pump() -> CurveSpec:
    """The same pump by its point at 500 gpm: 15 of 120 ft lost, laws exact."""
    return CurveSpec(
        best_flow_m3h=500 * GPM_M3H,
        best_head_m=105 * FOOT_M,
        droop=15 / 120,
        droop_exponent=2.0,
        efficiency_exponent=0.0,
        reynolds_exponent=0.0,
    )


@pytest.mark.parametrize(("speed", "flow_gpm", "head_ft", "_efficiency"), EPANET_ROWS)
def test_head_at_reduced_speed_is_epanets(
    speed: float, flow_gpm: float, head_ft: float, _efficiency: float
) -> None:
    head = head_m(epanet_pump(), np.array([flow_gpm * GPM_M3H]), np.array([speed]), as_new(1))
    assert head[0] / FOOT_M == pytest.approx(head_ft, abs=2e-5)


@pytest.mark.parametrize(("speed", "flow_gpm", "_head", "efficiency_pct"), EPANET_ROWS)
def test_efficiency_carries_over_to_reduced_speed_as_in_epanet(
    speed: float, flow_gpm: float, _head: float, efficiency_pct: float
) -> None:
    at_rated = np.interp(flow_gpm / speed, [0, 250, 500, 750, 1000], [0, 45, 70, 78, 70])
    assert 100 * efficiency_at_speed(at_rated / 100, speed) == pytest.approx(efficiency_pct, abs=1e-3)


def test_affinity_example_of_a_trade_bulletin() -> None:
    """200 gpm, 60 ft, 5 bhp at 1700 rpm become 235 gpm, 83 ft, 8.1 bhp at 2000 rpm."""
    curve = CurveSpec(
        rated_speed_rpm=1700, best_flow_m3h=200 * GPM_M3H, best_head_m=60 * FOOT_M,
        efficiency_exponent=0.0, reynolds_exponent=0.0,
    )  # fmt: skip
    ratio = np.array([2000 / 1700])
    flow = 200 * GPM_M3H * ratio
    head = head_m(curve, flow, ratio, as_new(1))
    power = shaft_power_w(curve, flow, ratio, as_new(1))
    at_1700 = shaft_power_w(curve, np.array([200 * GPM_M3H]), np.ones(1), as_new(1))
    assert round(flow[0] / GPM_M3H) == 235
    assert round(head[0] / FOOT_M) == 83
    assert round(5 * power[0] / at_1700[0], 1) == 8.1


@pytest.mark.parametrize(
    ("temperature_c", "density", "viscosity"),
    [
        (10, 999.702, 1.3059),
        (20, 998.207, 1.0016),
        (40, 992.216, 0.6527),
        (60, 983.196, 0.4660),
        (80, 971.790, 0.3541),
    ],
)
def test_water_is_that_of_iapws(temperature_c: float, density: float, viscosity: float) -> None:
    at = np.array([float(temperature_c)])
    assert density_kg_m3(at)[0] == pytest.approx(density, abs=0.02)
    assert viscosity_mpa_s(at)[0] == pytest.approx(viscosity, rel=0.03)


@pytest.mark.parametrize(
    ("mass_pct", "temperature_c", "density"),
    [(20, 20, 1014.78), (40, 20, 1032.27), (40, 60, 1006.31), (20, 4, 1019.30)],
)
def test_propylene_glycol_away_from_30_percent_is_that_of_coolprop(
    mass_pct: float, temperature_c: float, density: float
) -> None:
    found = density_kg_m3(np.array([float(temperature_c)]), "propylene_glycol", mass_pct)
    assert found[0] == pytest.approx(density, rel=1.5e-3)


def test_the_best_efficiency_lies_at_the_best_point() -> None:
    curve = CurveSpec()
    flow = np.linspace(5.0, 30.0, 2501)
    ones = np.ones(len(flow))
    condition = as_new(len(flow))
    efficiency = flow * head_m(curve, flow, ones, condition) / shaft_power_w(curve, flow, ones, condition)
    assert flow[np.argmax(efficiency)] == pytest.approx(curve.best_flow_m3h, rel=0.01)


def test_losses_can_be_undone() -> None:
    curve = CurveSpec()
    shaft, speed = np.array([0.0, 300.0, 1200.0]), np.array([0.4, 0.7, 1.0])
    assert shaft_from_input_w(curve, input_power_w(curve, shaft, speed), speed) == pytest.approx(
        shaft, abs=1e-9
    )


def test_a_pump_as_new_gives_its_own_flow_back_from_power() -> None:
    curve = CurveSpec()
    flow, speed = np.array([2.0, 8.0, 15.0, 20.0]), np.array([0.5, 0.7, 0.9, 1.0])
    power = input_power_w(curve, shaft_power_w(curve, flow, speed, as_new(4)), speed)
    assert estimated_flow_m3h(curve, power, speed) == pytest.approx(flow, rel=2e-3)


@pytest.mark.parametrize("droop_exponent", [1.6, 2.0, 2.6])
def test_ring_leakage_takes_the_stated_share_of_head_at_the_best_point(droop_exponent: float) -> None:
    curve = CurveSpec(droop_exponent=droop_exponent)
    leak = leak_for_head_loss(curve, np.array([0.05]))
    y = 1.0 + leak[0]
    kept = (1 - curve.droop * y**droop_exponent) / (1 - curve.droop)
    assert kept == pytest.approx(0.95, abs=1e-12)


@pytest.mark.parametrize("static_m", [0.0, 3.0])
@pytest.mark.parametrize("exponent", [1.5, 2.0, 2.7])
def test_pump_meets_system_to_a_billionth_of_a_metre(static_m: float, exponent: float) -> None:
    spec = PumpSpec(
        curve=CurveSpec(droop_exponent=exponent),
        system=SystemSpec(static_head_m=static_m),
        sensor=SensorSpec(),
    )
    speed = np.tile(np.linspace(0.6, 1.0, 9), 5)
    resistance = np.repeat(np.array([1e-3, 0.02, 0.1, 10.0, 1e5]), 9)
    flow = meet(spec, speed, resistance, as_new(45))
    gap = head_m(spec.curve, flow, speed, as_new(45)) - static_m - resistance * flow**2
    assert np.abs(gap).max() < 1e-9
