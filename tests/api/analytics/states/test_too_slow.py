"""A pump too slow for its static head is told of once, as information; a closed valve stays urgent."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from api.analytics.finding import Finding, Kind, Priority
from api.analytics.states import LEAD_IN_S, fast_episodes, fast_findings, join
from simulator.plant.spec import Fault
from tests.api.analytics.states.hand_made import CURVE, FACTS, between, readings, without_flow
from tests.api.analytics.states.trials import DAY_MS, WATCH_MS, Trial

HOUR_S = 3600.0
STATIC_M = 8.0
NO_FLOW_RPM = 2900.0 * (STATIC_M / 20.0) ** 0.5
"""At 1834 rpm the pump of the hand-made frames has 8 m at no flow."""


def with_static_head(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame with flow, head and power as speed gives them against 8 m of static head."""
    speed = frame["speed_rpm"].to_numpy()
    lift = np.maximum(20.0 * (speed / 2900.0) ** 2 - STATIC_M, 0.0)
    flow = np.sqrt(lift / (0.0125 + 0.015))
    noise = 1 + np.random.default_rng(4).normal(0, 0.003, (3, len(frame)))
    frame["flow_m3h"] = flow * noise[0]
    frame["head_m"] = CURVE.head_m(flow, speed) * noise[1]
    frame["power_w"] = CURVE.power_w(flow, speed) * noise[2]
    return frame


def slowed(
    hours: float, spells_h: tuple[float, ...], lowest_rpm: float, interval_s: float = 60.0
) -> pd.DataFrame:
    """Return a pump that slows within four hours to ``lowest_rpm``, stays half an hour, and comes back."""
    frame = readings(hours, interval_s)
    hour = (frame.index.to_numpy() - frame.index[0]) / 3_600_000
    share = np.zeros(len(frame))
    for begin in spells_h:
        share = np.maximum(share, np.clip(np.minimum(hour - begin, begin + 8.5 - hour) / 4, 0, 1))
    frame["speed_rpm"] = np.round(2600.0 + (lowest_rpm - 2600.0) * share)
    return with_static_head(frame)


def closed(frame: pd.DataFrame) -> list[tuple[Priority, int]]:
    """Return priority and count of episodes of what is said of a closed discharge."""
    found = fast_findings(frame, CURVE, FACTS)
    return [
        (one.priority, round(one.evidence[0].value)) for one in found if one.kind is Kind.CLOSED_DISCHARGE
    ]


def shut(frame: pd.DataFrame, from_s: float, to_s: float) -> pd.DataFrame:
    return without_flow(frame, between(frame, from_s, to_s), power=1.0, head=1.0)


@pytest.mark.parametrize("interval_s", [10.0, 60.0])
def test_a_pump_that_slows_until_nothing_moves_is_information(interval_s: float) -> None:
    frame = slowed(20, (8.0,), 0.97 * NO_FLOW_RPM, interval_s)
    assert closed(frame) == [(Priority.INFORMATION, 1)]


def test_nothing_urgent_is_said_first_and_taken_back_later() -> None:
    frame = slowed(20, (8.0,), 0.9 * NO_FLOW_RPM, 10.0)
    said = {
        one.priority
        for minutes in range(690, 800, 3)
        for one in fast_episodes(frame[between(frame, 0, minutes * 60)], CURVE, FACTS)
    }
    assert said == {Priority.INFORMATION}


def test_a_speed_at_which_water_just_moves_is_nothing() -> None:
    assert closed(slowed(20, (8.0,), 1.05 * NO_FLOW_RPM)) == []


def test_night_after_night_is_said_once() -> None:
    frame = slowed(80, (10.0, 34.0, 58.0), 0.95 * NO_FLOW_RPM)
    assert closed(frame) == [(Priority.INFORMATION, 3)]


def test_after_a_quiet_day_and_a_half_it_is_said_anew() -> None:
    frame = slowed(80, (10.0, 58.0), 0.95 * NO_FLOW_RPM)
    assert [priority for priority, _ in closed(frame)] == [Priority.INFORMATION] * 2


def test_speed_is_named_first_among_its_causes() -> None:
    (one,) = fast_findings(slowed(20, (8.0,), 0.95 * NO_FLOW_RPM), CURVE, FACTS)
    assert (one.causes[0].names, one.checks[0]) == (
        ("speed_too_low_for_static_head",),
        "lowest_speed_setting",
    )


@pytest.mark.parametrize("interval_s", [10.0, 60.0])
def test_a_valve_closed_at_the_usual_speed_is_urgent_on_a_pump_used_to_standing_still(
    interval_s: float,
) -> None:
    frame = shut(slowed(30, (4.0, 14.0), 0.95 * NO_FLOW_RPM, interval_s), 25 * HOUR_S, 26 * HOUR_S)
    assert closed(frame) == [(Priority.INFORMATION, 2), (Priority.URGENT, 1)]


def test_a_valve_that_closes_as_a_loop_lets_go_of_speed_is_urgent() -> None:
    frame = readings(14, 60.0)
    frame.loc[between(frame, 10 * HOUR_S, 11 * HOUR_S), "speed_rpm"] = 2000.0
    assert closed(shut(frame, 10 * HOUR_S, 11 * HOUR_S)) == [(Priority.URGENT, 1)]


@pytest.mark.parametrize(("flow_before", "priority"), [(0.14, Priority.INFORMATION), (0.2, Priority.URGENT)])
def test_how_much_flowed_last_tells_a_slide_from_a_valve(flow_before: float, priority: Priority) -> None:
    frame = readings(14, 60.0)
    before = between(frame, 10 * HOUR_S - 600, 10 * HOUR_S)
    frame.loc[before, "speed_rpm"] = 2010.0
    flow = flow_before * 17.0 * 2010 / 2900
    frame.loc[before, "flow_m3h"] = flow
    frame.loc[before, "head_m"] = CURVE.head_m(np.float64(flow), np.float64(2010.0))
    frame.loc[before, "power_w"] = CURVE.power_w(np.float64(flow), np.float64(2010.0))
    frame.loc[between(frame, 10 * HOUR_S, 11 * HOUR_S), "speed_rpm"] = 2000.0
    assert [one for one, _ in closed(shut(frame, 10 * HOUR_S, 11 * HOUR_S))] == [priority]


@pytest.mark.parametrize(
    ("spells_h", "priority"), [((4.0,), Priority.URGENT), ((4.0, 8.0), Priority.INFORMATION)]
)
def test_two_recoveries_within_a_day_make_a_habit(spells_h: tuple[float, ...], priority: Priority) -> None:
    frame = readings(24, 60.0)
    for begin_h in (*spells_h, 14.0):
        during = between(frame, begin_h * HOUR_S, (begin_h + 0.5) * HOUR_S)
        frame.loc[during, "speed_rpm"] = 1500.0
        frame = shut(frame, begin_h * HOUR_S, (begin_h + 0.5) * HOUR_S)
    assert last_spell(frame).priority is priority


def last_spell(frame: pd.DataFrame) -> Finding:
    return fast_episodes(frame, CURVE, FACTS)[-1]


def test_a_pump_that_speeds_up_and_still_moves_nothing_is_urgent() -> None:
    frame = slowed(20, (8.0,), 0.95 * NO_FLOW_RPM)
    assert closed(shut(frame, 12.2 * HOUR_S, 19 * HOUR_S))[0][0] is Priority.URGENT


def test_a_start_at_a_speed_that_lifts_nothing_is_information() -> None:
    frame = slowed(20, (9.0,), 0.85 * NO_FLOW_RPM)
    rest = between(frame, 12 * HOUR_S, 13.2 * HOUR_S)
    frame.loc[rest, ["speed_rpm", "power_w", "flow_m3h", "head_m"]] = [0.0, 12.0, 0.0, 0.0]
    assert [priority for priority, _ in closed(frame)] == [Priority.INFORMATION]


def test_a_start_at_the_usual_speed_against_a_closed_valve_is_urgent() -> None:
    frame = readings(16, 60.0)
    rest = between(frame, 11 * HOUR_S, 12 * HOUR_S)
    frame.loc[rest, ["speed_rpm", "power_w", "flow_m3h", "head_m"]] = [0.0, 12.0, 0.0, 0.0]
    assert [one for one, _ in closed(shut(frame, 12 * HOUR_S, 13 * HOUR_S))] == [Priority.URGENT]


def test_day_sized_pieces_say_what_the_whole_says() -> None:
    frame = slowed(90, (10.0, 34.0, 58.0, 72.0), 0.95 * NO_FLOW_RPM)
    first, pieces = int(frame.index[0]), []
    for day in range(4):
        begin = first + day * DAY_MS
        piece = frame[(frame.index >= begin - LEAD_IN_S * 1000) & (frame.index < begin + DAY_MS)]
        said = fast_episodes(piece, CURVE, FACTS)
        pieces.extend(one for one in said if one.last_utc_ms >= begin)
    end = int(frame.index[-1])
    assert join(pieces, end) == join(fast_findings(frame, CURVE, FACTS), end)


@pytest.mark.parametrize("estimated", [False, True], ids=["measured", "estimated"])
@pytest.mark.parametrize(("family", "seed"), [("L", 29), ("O", 0)])
def test_a_simulated_pump_with_static_head_cries_no_closed_valve(
    family: str, seed: int, estimated: bool
) -> None:
    trial = Trial(family=family, seed=seed, interval_s=60, days=60.0, estimated=estimated)
    assert {one.priority for one in trial.episodes()} == {Priority.INFORMATION}


@pytest.mark.parametrize("estimated", [False, True], ids=["measured", "estimated"])
@pytest.mark.parametrize(("family", "seed"), [("B", 6), ("L", 29), ("O", 0), ("P", 7)])
def test_a_valve_closed_by_day_is_urgent_whatever_controls_the_speed(
    family: str, seed: int, estimated: bool
) -> None:
    begin = WATCH_MS + DAY_MS + 11 * 3_600_000
    fault = Fault(kind="closed_discharge", start_utc_ms=begin, end_utc_ms=begin + 1_800_000)
    trial = Trial(family=family, seed=seed, interval_s=10, days=1.6, estimated=estimated, faults=(fault,))
    said = [one for one in trial.episodes() if begin <= one.first_utc_ms <= begin + 180_000]
    assert [(one.kind, one.priority) for one in said] == [(Kind.CLOSED_DISCHARGE, Priority.URGENT)]
