"""The two accounts of a channel: computed from two others, or sensed."""

from __future__ import annotations

import math

import numpy as np
import pytest

from api.analytics.states import beyond_steps
from api.analytics.states.beyond_steps import BothAccounts, DailyLevels, both_accounts, daily_levels, step_of
from tests.api.analytics.states.hand_made import Floats


def weighed(noise: float, step_m: float, count: int = 1200, seed: int = 1) -> BothAccounts:
    """Return both accounts of a head near 12 m over a demand that wanders; ``noise`` [-] is the sensor's."""
    random = np.random.default_rng(seed)
    speed, flow = random.uniform(2000, 2800, count), random.uniform(6, 18, count)
    head = 20 * (speed / 2900) ** 2 - 0.0125 * flow**2
    shown = stepped(head * (1 + noise * random.normal(size=count)), step_m)
    return both_accounts("head_m", shown, np.round(speed), "flow_m3h", stepped(flow, 0.01))


def stepped(values: Floats, step: float) -> Floats:
    return np.round(values / step) * step


@pytest.mark.parametrize("z", [-6.0, -2.5, -1.0, 0.0, 0.3, 1.96, 4.0])
def test_the_normal_distribution_is_that_of_the_mathematical_library(z: float) -> None:
    # Against Python's math.erfc, which calls the C library's.
    below = beyond_steps._normal_below(np.array([z]))[0]
    assert below == pytest.approx(0.5 * math.erfc(-z / math.sqrt(2)), abs=2e-7)


@pytest.mark.parametrize("step_m", [0.001, 0.01, 0.1, 0.3])
def test_no_noise_is_told_from_a_quiet_sensor_at_fine_and_at_coarse_steps(step_m: float) -> None:
    computed, sensed = weighed(0.0, step_m), weighed(0.003, step_m)
    assert computed.computed - computed.sensed > 6
    assert sensed.sensed - sensed.computed > 6


def test_steps_far_above_any_noise_leave_both_accounts_alike() -> None:
    computed, sensed = weighed(0.0, 3.0), weighed(0.003, 3.0)
    assert abs(computed.computed - computed.sensed) < 6
    assert abs(sensed.computed - sensed.sensed) < 6


def test_scatter_by_the_steps_alone_is_that_of_the_steps() -> None:
    assert weighed(0.0, 0.1).over_steps == pytest.approx(1.0, abs=0.1)
    assert weighed(0.01, 0.1).over_steps > 3


def test_a_sensor_given_its_best_chance_is_never_less_likely() -> None:
    for noise in (0.0, 0.001, 0.005):
        told = weighed(noise, 0.05)
        assert told.sensed_at_most >= told.sensed


@pytest.mark.parametrize("scale", [0.01, 1.0, 300.0])
def test_units_make_no_difference(scale: float) -> None:
    random = np.random.default_rng(3)
    speed, flow = np.round(random.uniform(2000, 2800, 600)), stepped(random.uniform(6, 18, 600), 0.05)
    head = stepped(20 * (speed / 2900) ** 2 - 0.0125 * flow**2, 0.05)
    told = both_accounts("head_m", head, speed, "flow_m3h", flow)
    scaled = both_accounts("head_m", head * scale, speed / 60, "flow_m3h", flow * scale)
    assert scaled.computed - scaled.sensed == pytest.approx(told.computed - told.sensed, rel=0.01, abs=0.1)


def test_one_reading_in_a_hundred_taken_amid_a_change_changes_no_account() -> None:
    random = np.random.default_rng(5)
    speed, flow = np.round(random.uniform(2000, 2800, 1200)), stepped(random.uniform(6, 18, 1200), 0.01)
    head = stepped(20 * (speed / 2900) ** 2 - 0.0125 * flow**2, 0.01)
    head[::100] *= 1.08
    told = both_accounts("head_m", stepped(head, 0.01), speed, "flow_m3h", flow)
    assert told.computed - told.sensed_at_most > 6


@pytest.mark.parametrize("constant", ["speed", "flow", "head"])
def test_a_channel_that_never_moves_is_no_stumble(constant: str) -> None:
    random = np.random.default_rng(7)
    speed = np.round(random.uniform(2000, 2800, 500))
    flow = stepped(random.uniform(6, 18, 500), 0.1)
    speed = np.full(500, 2400.0) if constant == "speed" else speed
    flow = np.full(500, 12.0) if constant == "flow" else flow
    head = 20 * (speed / 2900) ** 2 - 0.0125 * flow**2
    head = np.full(500, 9.0) if constant == "head" else stepped(head, 0.05)
    told = both_accounts("head_m", head, speed, "flow_m3h", flow)
    assert np.isfinite([told.computed, told.sensed, told.sensed_at_most]).all()


def test_the_step_is_the_least_difference_and_none_of_a_constant() -> None:
    assert step_of(np.array([1.5, 1.0, 1.25, 1.5])) == 0.25
    assert step_of(np.full(5, 3.0)) == 0.0


def by_days(day_sd: float, noise: float = 0.0005, seed: int = 1, days: int = 10) -> DailyLevels:
    """Return what levels of their own better each day of a head whose sensor drifts by ``day_sd`` [-]."""
    random = np.random.default_rng(seed)
    day = np.repeat(np.arange(days, dtype=np.int64), 200)
    speed, flow = random.uniform(2000, 2800, len(day)), random.uniform(6, 18, len(day))
    head = 20 * (speed / 2900) ** 2 - 0.0125 * flow**2
    drifted = head * (1 + day_sd * random.normal(size=days)[day] + noise * random.normal(size=len(day)))
    shown = stepped(drifted, 0.05)
    return daily_levels("head_m", shown, np.round(speed), "flow_m3h", stepped(flow, 0.01), day)


@pytest.mark.parametrize("seed", range(4))
def test_days_alike_gain_by_levels_of_their_own_what_chance_gives_them(seed: int) -> None:
    """Half a day's worth each: twice a logarithm of likelihood is a chi-square (Wilks, 1938, from memory)."""
    # The steps' small error is not normal, and the mean of ten such halves strays by 0.2.
    assert by_days(day_sd=0.0, noise=0.0, seed=seed).gain_a_day == pytest.approx(0.5, abs=0.7)


@pytest.mark.parametrize("seed", range(4))
def test_a_sensor_as_quiet_as_a_computation_is_known_by_its_drift(seed: int) -> None:
    levels = by_days(day_sd=0.002, seed=seed)
    assert levels.has_drifted
    assert levels.spread == pytest.approx(0.002, rel=0.6)


@pytest.mark.parametrize("day_sd", [0.0, 0.0004])
def test_what_a_computation_may_be_off_by_is_no_drift(day_sd: float) -> None:
    assert not by_days(day_sd, noise=0.0).has_drifted
