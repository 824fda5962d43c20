"""The declared provenance is believed unless the readings contradict it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.facts import Provenance, PumpFacts
from api.analytics.states import provenance_check
from tests.api.analytics.states.hand_made import CURVE, ESTIMATED, FACTS, START_UTC_MS, Floats
from tests.api.analytics.states.trials import ALL_FAMILIES, DAY_MS, Trial, frame_of


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


def fine_steps(sensed: bool, seed: int) -> pd.DataFrame:
    """Return a pump of 45 m shown to 0.02 m, whose speed register is of another instant by 0.03 %."""
    frame = days_of_readings(estimated=False, seed=seed)
    random = np.random.default_rng(seed)
    speed, flow = frame["speed_rpm"].to_numpy(), frame["flow_m3h"].to_numpy()
    head = 3.0 * CURVE.head_m(flow, speed * (1 + 0.0003 * random.normal(size=len(frame))))
    frame["head_m"] = stepped(head * (1 + 0.003 * sensed * random.normal(size=len(frame))), 0.02)
    return frame


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("sensed", "facts"), [(True, FACTS), (False, ESTIMATED)])
def test_fine_steps_raise_no_doubt_of_a_right_declaration(sensed: bool, facts: PumpFacts, seed: int) -> None:
    assert provenance_check(fine_steps(sensed, seed), facts) == []


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("sensed", "facts"), [(True, ESTIMATED), (False, FACTS)])
def test_fine_steps_hide_no_wrong_declaration(sensed: bool, facts: PumpFacts, seed: int) -> None:
    assert len(provenance_check(fine_steps(sensed, seed), facts)) == 1


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("declared", [FACTS, ESTIMATED], ids=["measured", "estimated"])
def test_coarse_steps_are_seen_through(declared: PumpFacts, seed: int) -> None:
    # 0.3 m of some 10 m: the step alone scatters by 0.9 %, three times a sensor's noise.
    for estimated in (False, True):
        frame = days_of_readings(estimated, seed, head_step_m=0.3)
        contradicted = (declared is ESTIMATED) != estimated
        assert len(provenance_check(frame, declared)) == contradicted


@pytest.mark.parametrize("declared", [FACTS, ESTIMATED], ids=["measured", "estimated"])
@pytest.mark.parametrize("noise", [0.0, 0.0025])
def test_a_head_held_within_a_coarse_step_leaves_the_question_open(noise: float, declared: PumpFacts) -> None:
    frame = held_head(noise, 1.0)
    frame["head_m"] *= 3  # 27 m, which may be shown in metres
    assert frame["head_m"].nunique() == 1
    assert provenance_check(frame, declared) == []


def test_a_held_head_of_fewer_than_twenty_metres_is_not_thought_to_be_shown_in_whole_ones() -> None:
    # The price of that belief: a sensor shown so coarsely, on a head so well held, is doubted wrongly.
    assert len(provenance_check(held_head(0.0025, 1.0), FACTS)) == 1


@pytest.mark.parametrize("sensed", [True, False], ids=["measured", "estimated"])
def test_a_speed_that_never_moves_hides_what_it_would_explain(sensed: bool) -> None:
    # Shown in steps of 500 rpm the speed stands still, and its movements look like a head sensor's noise.
    frame = days_of_readings(estimated=not sensed)
    frame["speed_rpm"] = 2500.0
    assert provenance_check(frame, ESTIMATED) == []


@pytest.mark.parametrize(("held_at_m", "expected"), [(25.4, 1), (5.0, 0), (25.0, 0), (0.3048 * 83, 0)])
def test_a_head_that_never_leaves_its_step_is_doubted_only_if_no_sensor_could_stay_in_it(
    held_at_m: float, expected: int
) -> None:
    # A tenth of 25 m is less than a quiet sensor's noise, of 5 m more; 25 may be shown in metres, or feet.
    frame = held_head(0.0, 1.0)
    frame["head_m"] = held_at_m
    assert len(provenance_check(frame, FACTS)) == expected


MIXED_HEAD = replace(FACTS, flow=Provenance.ESTIMATED)
MIXED_FLOW = replace(FACTS, head=Provenance.ESTIMATED)


@pytest.mark.parametrize("facts", [MIXED_HEAD, MIXED_FLOW], ids=["head measured", "flow measured"])
@pytest.mark.parametrize("seed", range(3))
def test_a_channel_said_to_be_measured_but_computed_from_power_is_noticed(
    facts: PumpFacts, seed: int
) -> None:
    assert len(provenance_check(days_of_readings(estimated=True, seed=seed), facts)) == 1


@pytest.mark.parametrize("facts", [MIXED_HEAD, MIXED_FLOW], ids=["head measured", "flow measured"])
@pytest.mark.parametrize("seed", range(3))
def test_a_channel_rightly_said_to_be_measured_beside_an_estimated_one_is_believed(
    facts: PumpFacts, seed: int
) -> None:
    assert provenance_check(days_of_readings(estimated=False, seed=seed), facts) == []


def test_a_flow_computed_from_a_measured_head_is_no_contradiction() -> None:
    # Head lies on a smooth surface over speed and flow then, and is measured all the same.
    frame = days_of_readings(estimated=False)
    speed, head = frame["speed_rpm"].to_numpy(), frame["head_m"].to_numpy()
    below_shutoff = np.maximum(20.0 * (speed / 2900) ** 2 - head, 0.01)
    frame["flow_m3h"] = np.round(np.sqrt(below_shutoff / 0.0125), 2)
    assert provenance_check(frame, MIXED_HEAD) == []


@pytest.mark.parametrize("family", sorted(ALL_FAMILIES))
def test_a_week_of_a_simulated_pump_is_told_by_what_it_is(family: str) -> None:
    for estimated in (False, True):
        trial = Trial(family=family, seed=0, estimated=estimated, interval_s=60)
        times = np.arange(START_UTC_MS, START_UTC_MS + 7 * DAY_MS, 60_000, dtype=np.int64)
        frame = frame_of(trial.spec, 0, times)
        other = Provenance.MEASURED if estimated else Provenance.ESTIMATED
        assert provenance_check(frame, trial.facts) == []
        assert len(provenance_check(frame, replace(trial.facts, flow=other, head=other))) == 1
