"""Gas in the water: restless bursts are found; steps, ramps, shifts and noise are not gas."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from api.analytics.facts import PumpFacts
from api.analytics.finding import Kind
from api.analytics.states import OwnCurve, fast_findings
from tests.api.analytics.states.hand_made import CURVE, ESTIMATED, FACTS, START_UTC_MS, between, readings
from tests.api.analytics.states.trials import Trial


def with_gas(
    frame: pd.DataFrame, from_s: float, to_s: float, gas: float, seed: int = 3, measured: bool = True
) -> pd.DataFrame:
    """Return the frame with head and power down by a restless share about ``gas`` [-]."""
    during = between(frame, from_s, to_s)
    random = np.random.default_rng(seed)
    down = gas * np.clip(1 + 0.5 * random.normal(size=int(during.sum())), 0, 2)
    frame.loc[during, "power_w"] *= 1 - down
    if measured:
        frame.loc[during, "head_m"] *= 1 - down
        frame.loc[during, "flow_m3h"] *= 1 - down / 3
    return frame


def kinds(frame: pd.DataFrame, facts: PumpFacts = FACTS, curve: OwnCurve | None = CURVE) -> list[Kind]:
    return [one.kind for one in fast_findings(frame, curve, facts)]


@pytest.mark.parametrize("curve", [CURVE, None], ids=["own curve", "no curve"])
@pytest.mark.parametrize("facts", [FACTS, ESTIMATED], ids=["measured", "estimated"])
@pytest.mark.parametrize("interval_s", [1.0, 10.0, 60.0])
def test_a_burst_is_found_at_every_poll_rate(
    interval_s: float, facts: PumpFacts, curve: OwnCurve | None
) -> None:
    frame = with_gas(readings(12, interval_s), 36000, 38400, gas=0.15, measured=facts is FACTS)
    assert kinds(frame, facts, curve) == [Kind.AIR_BINDING]


@pytest.mark.parametrize("interval_s", [10.0, 60.0])
def test_a_burst_is_said_within_five_minutes(interval_s: float) -> None:
    frame = with_gas(readings(12, interval_s), 36000, 38400, gas=0.15)
    assert kinds(frame[between(frame, 0, 36000 + 301)]) == [Kind.AIR_BINDING]


def test_bursts_are_counted() -> None:
    frame = readings(12)
    for hour in (6, 7.5, 10):
        frame = with_gas(frame, hour * 3600, hour * 3600 + 900, gas=0.15)
    (one,) = fast_findings(frame, CURVE, FACTS)
    assert {item.name: item.value for item in one.evidence}["episodes"] == 3


@pytest.mark.parametrize("facts", [FACTS, ESTIMATED], ids=["measured", "estimated"])
@pytest.mark.parametrize("flow_share", [0.5, 0.8, 1.2])
def test_a_valve_that_moves_is_no_gas(flow_share: float, facts: PumpFacts) -> None:
    frame = readings(12)
    flow = np.interp(np.arange(len(frame)), [2160, 2190], [15.0, 15.0 * flow_share])
    noise = 1 + np.random.default_rng(8).normal(0, 0.003, (3, len(frame)))
    frame["flow_m3h"] = flow * noise[0]
    frame["head_m"] = CURVE.head_m(flow, frame["speed_rpm"]) * noise[1]
    frame["power_w"] = CURVE.power_w(flow, frame["speed_rpm"]) * noise[2]
    assert kinds(frame, facts) == []


@pytest.mark.parametrize("facts", [FACTS, ESTIMATED], ids=["measured", "estimated"])
def test_a_setpoint_step_is_no_gas(facts: PumpFacts) -> None:
    night, day = readings(6, speed_rpm=1800.0, flow_m3h=9.0), readings(6)
    night.index = night.index + 6 * 3_600_000 + 10_000
    assert kinds(pd.concat([day, night]), facts) == []


def test_the_end_of_a_night_setback_at_minute_polls_is_no_gas() -> None:
    # On its 55th day this pump goes from 1525 to 1902 rpm between two readings.
    assert Trial(family="P", seed=11, interval_s=60, days=55.0, estimated=True).episodes() == []


def test_a_gauge_that_shifts_is_no_gas() -> None:
    frame = readings(12)
    frame.loc[between(frame, 36000, 1e9), "head_m"] *= 0.85
    assert kinds(frame) == []


def test_less_gas_than_the_floor_stays_unsaid() -> None:
    assert kinds(with_gas(readings(12), 36000, 38400, gas=0.01)) == []


def swinging(frame: pd.DataFrame, from_s: float, to_s: float) -> pd.DataFrame:
    """Return the frame with speed swinging by 5 % every four minutes, and head and power with it."""
    during = between(frame, from_s, to_s)
    seconds = (frame.index.to_numpy()[during] - START_UTC_MS) / 1000
    swing = 1 + 0.05 * np.sin(2 * np.pi * seconds / 240)
    for name, power in {"speed_rpm": 1, "flow_m3h": 1, "head_m": 2, "power_w": 3}.items():
        frame.loc[during, name] *= swing**power
    return frame


def test_a_loop_that_chases_gas_is_said_to_have_gas_alone() -> None:
    frame = with_gas(swinging(readings(12), 36000, 39600), 36000, 39600, gas=0.15)
    assert kinds(frame) == [Kind.AIR_BINDING]


def test_a_loop_that_swings_without_gas_hunts() -> None:
    assert kinds(swinging(readings(12), 36000, 39600)) == [Kind.HUNTING]


@pytest.mark.parametrize("fall_m", [0.0, 0.1])
@pytest.mark.parametrize("interval_s", [1.0, 10.0, 60.0])
def test_a_step_of_a_coarse_head_sensor_is_no_gas(interval_s: float, fall_m: float) -> None:
    frame = readings(12, interval_s, speed_rpm=900.0, flow_m3h=5.0)
    flicker = 0.1 * (np.random.default_rng(5).random(len(frame)) < 0.5)
    during = between(frame, 36000, 37200)
    frame["head_m"] = np.round(1.6 + 0.1 * (np.arange(len(frame)) % 97 == 0), 1)
    frame.loc[during, "head_m"] = np.round(1.6 - fall_m + flicker[during], 1)
    assert kinds(frame) == []


@pytest.mark.parametrize("channel", ["head_m", "power_w"])
def test_one_sensor_that_falls_and_is_restless_is_no_gas(channel: str) -> None:
    whole, frame = readings(12), readings(12)
    frame[channel] = with_gas(whole, 36000, 38400, gas=0.15)[channel]
    assert kinds(frame) == []


def test_power_that_alternates_on_a_pump_that_lost_head_is_no_gas() -> None:
    frame = readings(12)
    later = between(frame, 36000, 1e9)
    frame.loc[later, "head_m"] *= 0.9
    swing = np.where(np.arange(len(frame)) // 3 % 2 == 0, 0.9, 0.96)
    frame.loc[later, "power_w"] *= swing[later]
    assert kinds(frame) == []


def test_a_stir_that_leaves_head_and_power_lower_is_taken_back_once_they_stay_there() -> None:
    frame = with_gas(readings(12), 36000, 36400, gas=0.15)
    later = between(frame, 36400, 1e9)
    frame.loc[later, ["head_m", "power_w"]] *= 0.85
    assert kinds(frame[between(frame, 0, 36600)]) == [Kind.AIR_BINDING]
    assert kinds(frame) == []


def test_gas_that_left_for_good_stays_said() -> None:
    frame = with_gas(readings(12), 36000, 36400, gas=0.15)
    assert kinds(frame) == [Kind.AIR_BINDING]
