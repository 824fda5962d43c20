"""Dry running and closed discharge: found soon, told apart, and silent on the healthy side of each limit."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding, Kind, Priority
from api.analytics.states import OwnCurve, fast_findings
from tests.api.analytics.states.hand_made import (
    CURVE,
    ESTIMATED,
    FACTS,
    between,
    readings,
    stopped,
    without_flow,
)


def found(frame: pd.DataFrame, facts: PumpFacts = FACTS, curve: OwnCurve | None = CURVE) -> list[Finding]:
    return fast_findings(frame, curve, facts)


def kinds(frame: pd.DataFrame, facts: PumpFacts = FACTS) -> list[Kind]:
    return [finding.kind for finding in found(frame, facts)]


@pytest.mark.parametrize("interval_s", [1.0, 10.0, 60.0])
def test_a_healthy_pump_is_silent(interval_s: float) -> None:
    assert kinds(readings(6, interval_s)) == []


@pytest.mark.parametrize("facts", [FACTS, ESTIMATED], ids=["measured", "estimated"])
@pytest.mark.parametrize("interval_s", [1.0, 10.0, 60.0])
def test_dry_running_is_urgent_at_every_poll_rate(interval_s: float, facts: PumpFacts) -> None:
    frame = readings(3, interval_s)
    frame = without_flow(frame, between(frame, 7200, 9000), power=0.35, head=0.05)
    only = found(frame, facts)
    assert [(one.kind, one.priority) for one in only] == [(Kind.DRY_RUNNING, Priority.URGENT)]


def test_dry_running_is_said_within_thirty_seconds_at_ten_second_polls() -> None:
    frame = readings(2)
    frame = without_flow(frame, between(frame, 3605, 9000), power=0.35, head=0.05)
    assert kinds(frame[between(frame, 0, 3605 + 30)]) == [Kind.DRY_RUNNING]


def test_closed_discharge_is_said_within_two_minutes_at_ten_second_polls() -> None:
    frame = readings(2)
    frame = without_flow(frame, between(frame, 3605, 9000), power=1.0, head=1.0)
    assert kinds(frame[between(frame, 0, 3605 + 120)]) == [Kind.CLOSED_DISCHARGE]


def test_a_discharge_closed_for_a_minute_is_a_valve_on_its_way() -> None:
    frame = readings(2)
    assert kinds(without_flow(frame, between(frame, 3600, 3660), power=1.0, head=1.0)) == []


@pytest.mark.parametrize(("power", "kind"), [(0.58, Kind.DRY_RUNNING), (0.66, Kind.CLOSED_DISCHARGE)])
def test_power_tells_dry_from_closed(power: float, kind: Kind) -> None:
    frame = readings(2)
    frame = without_flow(frame, between(frame, 3600, 5400), power=power, head=1.0)
    assert kinds(frame, ESTIMATED) == [kind]


@pytest.mark.parametrize(("share", "expected"), [(0.02, [Kind.CLOSED_DISCHARGE]), (0.10, [])])
def test_flow_has_to_be_as_good_as_none(share: float, expected: list[Kind]) -> None:
    frame = readings(2)
    low = between(frame, 3600, 5400)
    flow = share * 20.0 * 2600 / 2900
    frame.loc[low, "flow_m3h"] = flow
    frame.loc[low, "power_w"] = CURVE.power_w(np.float64(flow), np.float64(2600.0))
    frame.loc[low, "head_m"] = CURVE.head_m(np.float64(flow), np.float64(2600.0))
    assert kinds(frame) == expected


def test_a_flow_meter_that_dies_is_no_closed_valve() -> None:
    frame = readings(2)
    frame.loc[between(frame, 3600, 5400), "flow_m3h"] = 0.0
    assert Kind.CLOSED_DISCHARGE not in kinds(frame)


def test_a_stopped_pump_is_neither_dry_nor_closed() -> None:
    frame = readings(4)
    assert kinds(stopped(frame, between(frame, 3600, 7200))) == []


def test_a_start_against_water_at_rest_is_no_fault() -> None:
    frame = stopped(frame := readings(3), between(frame, 3600, 7200))
    frame = without_flow(frame, between(frame, 7200, 7220), power=0.5, head=0.5)
    assert kinds(frame) == []


def test_a_gap_is_no_evidence() -> None:
    frame = readings(2)
    frame = without_flow(frame, between(frame, 3600, 3610) | between(frame, 4200, 4210), power=0.3, head=0.1)
    assert kinds(frame[~between(frame, 3610, 4200)]) == []


def test_nothing_is_claimed_without_any_curve() -> None:
    frame = readings(2)
    frame = without_flow(frame, between(frame, 3600, 5400), power=1.0, head=1.0)
    assert Kind.CLOSED_DISCHARGE not in [one.kind for one in found(frame, curve=None)]


@pytest.mark.parametrize(("last_s", "active"), [(7300, True), (5400, False)])
def test_a_finding_is_active_while_it_lasts(last_s: float, active: bool) -> None:
    frame = readings(2)
    frame = without_flow(frame, between(frame, 3600, last_s), power=1.0, head=1.0)
    assert [one.active for one in found(frame)] == [active]


def test_the_evidence_can_be_checked_on_the_chart() -> None:
    frame = readings(2)
    frame = without_flow(frame, between(frame, 3600, 7300), power=0.4, head=0.1)
    evidence = {one.name: one.value for one in found(frame)[0].evidence}
    assert evidence["power_share_of_zero_flow_power"] == pytest.approx(0.4, abs=0.01)
    assert evidence["head_share_of_shutoff_head"] == pytest.approx(0.1, abs=0.01)


def with_cut_off(frame: pd.DataFrame, low: np.ndarray, share: float, facts: PumpFacts) -> pd.DataFrame:
    """Return the frame with a share of the usual flow during these readings, which is read as none."""
    speed = frame["speed_rpm"].to_numpy()[low]
    flow = share * 17.0 * speed / 2900
    frame.loc[low, "flow_m3h"] = 0.0
    frame.loc[low, "power_w"] = CURVE.power_w(flow, speed)
    frame.loc[low, "head_m"] = CURVE.head_m(flow if facts is FACTS else flow * 0.0, speed)
    return frame


@pytest.mark.parametrize("facts", [FACTS, ESTIMATED], ids=["measured", "estimated"])
@pytest.mark.parametrize(
    ("share", "expected"),
    [(0.0, [Kind.CLOSED_DISCHARGE]), (0.05, [Kind.CLOSED_DISCHARGE]), (0.17, []), (0.3, [])],
)
def test_a_flow_below_the_cut_off_reads_as_none_and_is_no_closed_valve(
    share: float, expected: list[Kind], facts: PumpFacts
) -> None:
    frame = readings(4)
    assert kinds(with_cut_off(frame, between(frame, 7200, 10800), share, facts), facts) == expected


def test_a_meter_that_showed_little_flows_that_day_is_believed_when_it_shows_none() -> None:
    frame = readings(4)
    frame.loc[between(frame, 3600, 3700), "flow_m3h"] = 0.3
    assert kinds(with_cut_off(frame, between(frame, 7200, 10800), 0.15, FACTS)) == [Kind.CLOSED_DISCHARGE]
