"""Dry or closed, told by power alone: both sides of each limit, and the pumps that once were mistaken."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.finding import Finding, Kind, Priority
from api.analytics.states import fast_episodes
from api.analytics.states.dryness import is_dry_by_power
from simulator.plant.spec import Fault, FaultKind
from tests.api.analytics.states.hand_made import CURVE, ESTIMATED, FACTS, between, readings, without_flow
from tests.api.analytics.states.trials import DAY_MS, KIND_OF, WATCH_MS, Trial

USUAL_RPM, FAR_RPM = 2900.0, 0.7 * 2900.0
DUTY_W = float(CURVE.power_w(np.float64(17.0), np.float64(USUAL_RPM)))
FAR_ZERO_FLOW_W = float(CURVE.power_w(np.float64(0.0), np.float64(FAR_RPM)))


def is_dry(power_w: float, speed_rpm: float) -> bool:
    return bool(is_dry_by_power(np.array([power_w]), np.array([speed_rpm]), CURVE)[0])


@pytest.mark.parametrize(("share", "dry"), [(0.33, True), (0.35, False)])
def test_near_the_usual_speed_the_share_of_duty_power_decides(share: float, dry: bool) -> None:
    # 7 % of duty power is lost at the least, so that 0.34 of it is 0.29 of what the water takes.
    assert is_dry(share * DUTY_W, USUAL_RPM) is dry


@pytest.mark.parametrize(("share", "dry"), [(0.61, True), (0.63, False)])
def test_far_below_it_the_share_of_zero_flow_power_decides(share: float, dry: bool) -> None:
    assert is_dry(share * FAR_ZERO_FLOW_W, FAR_RPM) is dry


@pytest.mark.parametrize("zero_flow_w", [600.0, 900.0])
def test_a_zero_flow_power_extrapolated_too_high_makes_no_closed_valve_dry(zero_flow_w: float) -> None:
    class Guessed(type(CURVE)):  # type: ignore[misc]
        def power_w(self, flow_m3h: np.ndarray, speed_rpm: np.ndarray) -> np.ndarray:
            share = np.asarray(speed_rpm) / 2900.0
            per_flow = (DUTY_W - zero_flow_w) / 17.0
            return zero_flow_w * share**3 + per_flow * share**2 * np.asarray(flow_m3h)

    closed_w = np.array([0.38 * DUTY_W])
    assert not is_dry_by_power(closed_w, np.array([USUAL_RPM]), Guessed())[0]


def test_no_power_that_is_known_is_no_dry_pump() -> None:
    assert not is_dry(float("nan"), USUAL_RPM)


def coarse(frame: pd.DataFrame, step_w: float) -> pd.DataFrame:
    """Return the frame with power in whole steps that flicker by one, as rounding makes them."""
    flicker = np.arange(len(frame)) % 2 * step_w
    frame["power_w"] = np.round(frame["power_w"] / step_w) * step_w + flicker
    return frame


@pytest.mark.parametrize("step_w", [1.0, 10.0])
def test_a_dry_pump_whose_power_comes_in_coarse_steps_is_said_at_once(step_w: float) -> None:
    frame = readings(2)
    frame = coarse(without_flow(frame, between(frame, 3605, 9000), power=0.35, head=0.02), step_w)
    said = fast_episodes(frame[between(frame, 0, 3605 + 40)], CURVE, FACTS)
    assert [one.kind for one in said] == [Kind.DRY_RUNNING]


def test_power_that_jumps_by_many_steps_is_no_dry_pump() -> None:
    frame = readings(2)
    during = between(frame, 3605, 9000)
    frame = without_flow(frame, during, power=0.35, head=0.02)
    frame.loc[during, "power_w"] *= 1 + 0.1 * (np.arange(during.sum()) % 2)
    assert Kind.DRY_RUNNING not in [one.kind for one in fast_episodes(frame, CURVE, FACTS)]


def said_of(family: str, seed: int, kind: FaultKind, within_s: int, estimated: bool = True) -> list[Finding]:
    """Return what is said within so long of a fault's onset, a day and a half after watching begins."""
    onset = WATCH_MS + DAY_MS + 12 * 3_600_000
    fault = Fault(kind=kind, start_utc_ms=onset, end_utc_ms=onset + 1_200_000, period_s=600.0, code=41)
    trial = Trial(family=family, seed=seed, interval_s=10, days=1.6, estimated=estimated)
    trial = replace(trial, faults=(fault,))
    frame = trial.frame()
    found = fast_episodes(frame[frame.index <= onset + within_s * 1000], trial.curve(), trial.facts)
    return [one for one in found if one.last_utc_ms >= onset]


@pytest.mark.parametrize(
    ("family", "seed", "kind", "within_s"),
    [
        ("N", 15, "closed_discharge", 180),
        ("P", 13, "closed_discharge", 180),
        ("M", 11, "closed_discharge", 180),
        ("C", 13, "closed_discharge", 180),
        ("N", 3, "dry_running", 60),
        ("O", 11, "dry_running", 60),
        ("K", 19, "dry_running", 60),
        ("A", 0, "dry_running", 60),
    ],
)
def test_pumps_that_once_were_mistaken_are_told_apart(
    family: str, seed: int, kind: FaultKind, within_s: int
) -> None:
    said = said_of(family, seed, kind, within_s)
    assert [(one.kind, one.priority) for one in said] == [(KIND_OF[kind], Priority.URGENT)]


def test_estimates_need_no_head_to_tell_dry_from_closed() -> None:
    frame = readings(2).drop(columns="head_m")
    during = between(frame, 3605, 9000)
    frame.loc[during, "flow_m3h"] = 0.0
    frame.loc[during, "power_w"] = 0.3 * CURVE.power_w(np.float64(0.0), frame["speed_rpm"].to_numpy()[during])
    assert [one.kind for one in fast_episodes(frame, CURVE, ESTIMATED)] == [Kind.DRY_RUNNING]
