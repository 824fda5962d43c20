"""Total head from two gauges: against worked examples, and its uncertainty against simulation."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from api.analytics.field_check import Gauge, Tap, total_head
from api.analytics.field_check.gauges import GRADES
from api.analytics.field_check.total_head import DENSITY_SD

PSI_PA = 6894.757293
FOOT_M = 0.3048
GPM_M3H = 0.2271247
FINE = Gauge(span_pa=600e3, error_share=0.0, division_pa=0.0)
PLAIN = Gauge(span_pa=100 * PSI_PA, error_share=GRADES["A"], division_pa=2 * PSI_PA)
SUCTION = Tap(pressure_pa=12 * PSI_PA, height_m=0.40, pipe_m=0.1023)
DISCHARGE = Tap(pressure_pa=31.5 * PSI_PA, height_m=1.15, pipe_m=0.0779)


def test_a_worked_example_in_metric_units() -> None:
    # By hand: p_s 0.8 bar, p_d 2.6 bar, 20 °C water (998.2 kg/m3): 180 000 / (998.2 * 9.80665) = 18.388 m.
    # Heights: 1.20 - 0.50 = 0.700 m. 40 m3/h = 0.0111111 m3/s; DN 80 (82.5 mm): A = 5.3456e-3 m2, 2.0786 m/s,
    # 0.22029 m; DN 100 (107.1 mm): A = 9.0088e-3 m2, 1.2334 m/s, 0.07756 m; difference 0.14273 m.
    found = total_head(
        Tap(pressure_pa=80e3, height_m=0.5, pipe_m=0.1071),
        Tap(pressure_pa=260e3, height_m=1.2, pipe_m=0.0825),
        (FINE, FINE),
        40.0,
        0.0,
        998.2,
    )
    assert found.pressure_m == pytest.approx(18.388, abs=5e-4)
    assert found.height_m == pytest.approx(0.700)
    assert found.velocity_m == pytest.approx(0.14273, abs=2e-5)
    assert found.head_m == pytest.approx(19.2307, abs=1e-3)


def test_a_worked_example_in_the_trades_units() -> None:
    # By hand, with the trade's 2.31 ft per psi (common practice): (31.5 - 12) psi * 2.31 = 45.05 ft; gauge
    # heights 2 ft apart; 200 gpm in 3 in (3.068 in, 8.68 ft/s, 1.17 ft) and 4 in pipe (4.026 in, 5.04 ft/s,
    # 0.394 ft): 0.777 ft (velocities from a standard pipe table, schedule 40, from memory). Sum 47.8 ft.
    found = total_head(
        Tap(pressure_pa=12 * PSI_PA, height_m=1 * FOOT_M, pipe_m=4.026 * 0.0254),
        Tap(pressure_pa=31.5 * PSI_PA, height_m=3 * FOOT_M, pipe_m=3.068 * 0.0254),
        (FINE, FINE),
        200 * GPM_M3H,
        0.0,
        998.2,
    )
    assert found.head_m / FOOT_M == pytest.approx(47.8, abs=0.05)


def test_a_vacuum_at_suction_adds_to_the_head() -> None:
    # By hand: 5 inHg of vacuum is -16.932 kPa; against 0 it adds 16 932 / (998.2 * 9.80665) = 1.7297 m.
    even = replace(SUCTION, pressure_pa=0.0)
    found = [
        total_head(tap, DISCHARGE, (FINE, FINE), 0.0, 0.0, 998.2).head_m
        for tap in (even, replace(even, pressure_pa=-16_932.0))
    ]
    assert found[1] - found[0] == pytest.approx(1.7297, abs=1e-4)


def test_both_gauges_moved_up_together_change_nothing() -> None:
    up = [replace(tap, height_m=tap.height_m + 3) for tap in (SUCTION, DISCHARGE)]
    before = total_head(SUCTION, DISCHARGE, (FINE, FINE), 30.0, 0.0, 998.2)
    assert total_head(up[0], up[1], (FINE, FINE), 30.0, 0.0, 998.2).head_m == pytest.approx(before.head_m)


def test_pipes_of_one_size_have_no_velocity_head() -> None:
    same = replace(DISCHARGE, pipe_m=SUCTION.pipe_m)
    assert total_head(SUCTION, same, (FINE, FINE), 30.0, 0.0, 998.2).velocity_m == 0


def simulated_sd(*, is_one_gauge: bool, seed: int = 4) -> float:
    """The spread of heads when every input errs as it is said to: a Monte Carlo run as in JCGM 101."""
    rng = np.random.default_rng(seed)
    runs = 40_000
    even = rng.uniform(-1, 1, (9, runs))
    scale = PLAIN.error_share
    if is_one_gauge:
        errors = [even[0] * scale * DISCHARGE.pressure_pa, even[0] * scale * SUCTION.pressure_pa]
    else:
        errors = [even[0] * scale * PLAIN.span_pa, even[1] * scale * PLAIN.span_pa]
    pressures = [
        DISCHARGE.pressure_pa + errors[0] + even[2] * PLAIN.division_pa / 2,
        SUCTION.pressure_pa + errors[1] + even[3] * PLAIN.division_pa / 2,
    ]
    flow = 45.0 + rng.normal(0, 1.2, runs)
    weight = 998.2 * (1 + even[4] * DENSITY_SD * math.sqrt(3)) * 9.80665
    height = DISCHARGE.height_m - SUCTION.height_m + rng.normal(0, 0.02, runs) - rng.normal(0, 0.02, runs)
    squares = [
        (flow / 3600 / (math.pi * (tap.pipe_m + rng.normal(0, 0.001, runs)) ** 2 / 4)) ** 2 / (2 * 9.80665)
        for tap in (SUCTION, DISCHARGE)
    ]
    return float(np.std((pressures[0] - pressures[1]) / weight + height + squares[1] - squares[0]))


@pytest.mark.parametrize("is_one_gauge", [False, True])
def test_the_uncertainty_is_what_a_simulation_finds(is_one_gauge: bool) -> None:
    found = total_head(SUCTION, DISCHARGE, (PLAIN, PLAIN), 45.0, 1.2, 998.2, is_one_gauge=is_one_gauge)
    assert found.sd_m == pytest.approx(simulated_sd(is_one_gauge=is_one_gauge), rel=0.03)


def test_one_gauge_carried_across_is_worth_more_than_two() -> None:
    two, one = (
        total_head(SUCTION, DISCHARGE, (PLAIN, PLAIN), 45.0, 1.2, 998.2, is_one_gauge=same)
        for same in (False, True)
    )
    assert one.sd_m < two.sd_m / 1.5
    assert one.head_m == two.head_m


def test_the_interval_is_two_standard_uncertainties_to_each_side() -> None:
    found = total_head(SUCTION, DISCHARGE, (PLAIN, PLAIN), 45.0, 1.2, 998.2)
    low, high = found.interval_m
    assert (high - low) / 4 == pytest.approx(found.sd_m)
    assert sum(part**2 for part in found.from_m.values()) == pytest.approx(found.sd_m**2)


def test_a_standing_column_has_a_head_too() -> None:
    found = total_head(SUCTION, DISCHARGE, (PLAIN, PLAIN), 0.0, 0.0, 998.2)
    assert found.velocity_m == 0
    assert found.from_m["flow"] == 0


@pytest.mark.parametrize(
    ("change", "flow", "density", "words"),
    [
        ({"pipe_m": 0.0}, 10.0, 998.2, "diameter"),
        ({}, 10.0, 0.0, "density"),
        ({}, -1.0, 998.2, "flow"),
    ],
)
def test_what_cannot_be_is_refused(change: dict[str, float], flow: float, density: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        total_head(replace(SUCTION, **change), DISCHARGE, (PLAIN, PLAIN), flow, 0.0, density)
