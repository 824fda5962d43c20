"""The declared provenance is believed unless the readings contradict it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.facts import Provenance, PumpFacts
from api.analytics.states import provenance_check
from tests.api.analytics.states.hand_made import CURVE, ESTIMATED, FACTS, START_UTC_MS, Floats


def days_of_readings(
    estimated: bool, seed: int = 1, head_step_m: float = 0.1, days: int = 14
) -> pd.DataFrame:
    """Return a pump whose demand wanders, with sensors, or with a drive that estimates from what it shows."""
    random = np.random.default_rng(seed)
    count = days * 1440
    wander = np.cumsum(random.normal(0, 0.03, count))
    speed = 2400 + 350 * np.sin(wander) + random.normal(0, 2, count)
    flow = speed / 2900 * (13 + 5 * np.sin(0.7 * wander + 1))
    head, power = CURVE.head_m(flow, speed), CURVE.power_w(flow, speed)
    shown_power = power * (1 + random.normal(0, 0.004, count))
    if estimated:
        flow = (shown_power - 600 * (speed / 2900) ** 3) / (25 * (speed / 2900) ** 2)
        head = CURVE.head_m(flow, speed)
    else:
        flow = flow * (1 + random.normal(0, 0.006, count))
        head = head * (1 + random.normal(0, 0.005, count))
    return pd.DataFrame(
        {
            "speed_rpm": np.round(speed),
            "power_w": np.round(shown_power),
            "flow_m3h": stepped(flow, 0.1),
            "head_m": stepped(head, head_step_m),
        },
        index=pd.Index(START_UTC_MS + np.arange(count, dtype=np.int64) * 60_000, name="time_utc_ms"),
    )


def stepped(values: Floats, step: float) -> Floats:
    return np.round(values / step) * step


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(
    ("estimated", "facts"), [(False, FACTS), (True, ESTIMATED)], ids=["measured", "estimated"]
)
def test_a_right_declaration_raises_nothing(estimated: bool, facts: PumpFacts, seed: int) -> None:
    assert provenance_check(days_of_readings(estimated, seed), facts) == []


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(
    ("estimated", "facts"), [(True, FACTS), (False, ESTIMATED)], ids=["estimated", "measured"]
)
def test_a_wrong_declaration_is_noticed(estimated: bool, facts: PumpFacts, seed: int) -> None:
    (one,) = provenance_check(days_of_readings(estimated, seed), facts)
    assert one.causes[0].names == ("provenance_contradicted",)


def test_an_undeclared_pump_cannot_be_contradicted() -> None:
    facts = replace(FACTS, flow=Provenance.UNKNOWN, head=Provenance.UNKNOWN)
    assert provenance_check(days_of_readings(estimated=True), facts) == []


def test_steps_that_hide_any_sensor_leave_the_question_open() -> None:
    frame = days_of_readings(estimated=False, head_step_m=1.0)
    frame["flow_m3h"] = stepped(frame["flow_m3h"].to_numpy(), 2.0)
    assert provenance_check(frame, FACTS) == []


def test_a_few_readings_leave_the_question_open() -> None:
    assert provenance_check(days_of_readings(estimated=True).iloc[:300], FACTS) == []


def test_no_readings_are_no_contradiction() -> None:
    assert provenance_check(days_of_readings(estimated=True).iloc[:0], FACTS) == []


def held_head(noise: float, head_step_m: float, seed: int = 1) -> pd.DataFrame:
    """Return a pump whose loop holds head at 9 m; ``noise`` [-] is that of the head reading."""
    frame = days_of_readings(estimated=False, seed=seed)
    random = np.random.default_rng(seed)
    flow = frame["flow_m3h"].to_numpy()
    frame["speed_rpm"] = np.round(2900 * np.sqrt((9.0 + 0.0125 * flow**2) / 20.0))
    frame["power_w"] = np.round(CURVE.power_w(flow, frame["speed_rpm"].to_numpy()))
    hold_m = 9.0 * (1 + random.normal(0, 0.002, len(frame)) * (noise == 0))
    speed_of_hold = np.sqrt(hold_m / 9.0)
    frame["speed_rpm"] = np.round(frame["speed_rpm"] * speed_of_hold)
    exact = CURVE.head_m(flow, frame["speed_rpm"].to_numpy())
    frame["head_m"] = stepped(exact * (1 + noise * random.normal(size=len(frame))), head_step_m)
    return frame


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("noise", "expected"), [(0.0, 1), (0.0025, 0), (0.005, 0)])
def test_a_held_head_without_a_sensors_noise_was_computed(noise: float, expected: int, seed: int) -> None:
    assert len(provenance_check(held_head(noise, 0.05, seed), FACTS)) == expected
