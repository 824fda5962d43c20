"""One register that is stuck: named by what the others say of it, and never said of a pump that is steady."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest

from api.analytics.finding import Finding, Kind
from api.analytics.states import OwnCurve, fast_findings
from tests.api.analytics.states.hand_made import CURVE, FACTS, Floats, QuadraticCurve, between, readings

DAY_S = 24 * 3600.0
CHANNELS = {"power_w": "power", "flow_m3h": "flow", "head_m": "head"}


def demand(hours: float = 36.0, swing: float = 0.15, interval_s: float = 60.0) -> pd.DataFrame:
    """Return a pump whose speed and valves follow the time of day."""
    frame = readings(hours, interval_s)
    random = np.random.default_rng(2)
    turn = 2 * np.pi * np.arange(len(frame)) * interval_s / DAY_S
    speed = np.round(2500.0 * (1 + swing * np.sin(3 * turn)) + random.normal(0, 2, len(frame)))
    flow = 15.0 * speed / 2600 * (1 + swing * np.sin(7 * turn)) * (1 + random.normal(0, 0.004, len(frame)))
    frame["speed_rpm"], frame["flow_m3h"] = speed, np.round(flow, 2)
    frame["head_m"] = np.round(CURVE.head_m(flow, speed) * (1 + random.normal(0, 0.003, len(frame))), 2)
    frame["power_w"] = np.round(CURVE.power_w(flow, speed) * (1 + random.normal(0, 0.003, len(frame))))
    return frame


def stick(frame: pd.DataFrame, name: str, from_s: float, to_s: float = 1e9) -> pd.DataFrame:
    during = between(frame, from_s, to_s)
    frame.loc[during, name] = frame.loc[during, name].iloc[0]
    return frame


def found(frame: pd.DataFrame, curve: OwnCurve | None = CURVE) -> list[Finding]:
    return [one for one in fast_findings(frame, curve, FACTS) if one.kind is Kind.FROZEN_READING]


def test_a_healthy_pump_is_silent() -> None:
    assert fast_findings(demand(), CURVE, FACTS) == []


@pytest.mark.parametrize("interval_s", [10.0, 60.0, 300.0])
@pytest.mark.parametrize("name", CHANNELS)
def test_the_stuck_quantity_is_named(name: str, interval_s: float) -> None:
    (one,) = found(stick(demand(interval_s=interval_s), name, DAY_S))
    assert one.causes[0].names == (f"{CHANNELS[name]}_reading_stuck",)


@pytest.mark.parametrize("name", CHANNELS)
def test_nothing_else_is_said_of_a_pump_with_one_stuck_register(name: str) -> None:
    said = {one.kind for one in fast_findings(stick(demand(), name, DAY_S), CURVE, FACTS)}
    assert said == {Kind.FROZEN_READING}


@pytest.mark.parametrize(("hours", "expected"), [(1.8, 0), (4.5, 1)])
def test_a_short_rest_is_no_stuck_register(hours: float, expected: int) -> None:
    assert len(found(stick(demand(), "head_m", DAY_S, DAY_S + hours * 3600))) == expected


@pytest.mark.parametrize("name", CHANNELS)
def test_a_quantity_that_rests_on_a_steady_pump_is_no_stuck_register(name: str) -> None:
    assert found(stick(demand(swing=0.0), name, DAY_S)) == []


def test_a_head_that_a_control_holds_may_rest_while_speed_and_flow_move() -> None:
    frame = demand()
    flow = 12.0 + 5.0 * np.sin(2 * np.pi * np.arange(len(frame)) / 300)
    speed = 2900 * np.sqrt((14.0 + 0.0125 * flow**2) / 20.0)
    frame["flow_m3h"], frame["speed_rpm"], frame["head_m"] = flow, np.round(speed), 14.0
    frame["power_w"] = CURVE.power_w(flow, speed)
    assert found(frame) == []


def test_no_flow_is_not_stuck_at_zero() -> None:
    frame = demand()
    frame.loc[between(frame, DAY_S, 1e9), "flow_m3h"] = 0.0
    assert found(frame) == []


def test_without_a_curve_nothing_is_told() -> None:
    assert found(stick(demand(), "head_m", DAY_S), curve=None) == []


def test_what_is_stuck_through_the_whole_frame_goes_on_being_seen() -> None:
    assert len(found(stick(demand(), "head_m", 0.0))) == 1


def test_a_flow_meter_at_the_end_of_its_range_is_not_stuck() -> None:
    frame = demand()
    frame["flow_m3h"] = frame["flow_m3h"].clip(upper=float(frame["flow_m3h"].quantile(0.6)))
    assert found(frame) == []


def small(frame: pd.DataFrame, step_w: float) -> pd.DataFrame:
    """Return the readings with power as a drive a small part as large reports it, in these steps [W]."""
    return frame.assign(power_w=np.round(frame["power_w"] / 25 / step_w) * step_w)


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallCurve(QuadraticCurve):
    """The same pump with a small part of the power: some thirty watts."""

    def power_w(self, flow_m3h: Floats, speed_rpm: Floats) -> Floats:
        return QuadraticCurve.power_w(self, flow_m3h, speed_rpm) / 25


def test_power_that_rests_within_one_of_its_coarse_steps_is_not_stuck() -> None:
    at_rest = small(demand(96.0, swing=0.1), step_w=10.0)
    assert at_rest["power_w"].nunique() == 3
    assert found(stick(at_rest, "power_w", DAY_S), SmallCurve()) == []


def test_power_in_fine_steps_that_rests_so_long_is_stuck() -> None:
    assert len(found(stick(small(demand(swing=0.06), step_w=0.1), "power_w", DAY_S), SmallCurve())) == 1
