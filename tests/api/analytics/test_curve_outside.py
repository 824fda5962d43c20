"""Curves learned from readings against pump curves that others publish, and limits against a standard's.

The points are the standard types P1, P2 and P3 of pandapipes (an open simulator of pipe networks, University
of Kassel and Fraunhofer IEE; its std_types/library/Pump/P1.csv to P3.csv): flow in m3/h, pressure lift in
bar. Readings are made from straight lines between the points, so that no parabola, which is the learner's own
form, stands between the points and what is learned.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from api.analytics.accusation import ACTION_EFFECT
from api.analytics.curve import Curve, learn_curve
from api.analytics.drift import slow_findings
from api.analytics.facts import PumpFacts
from api.analytics.finding import Kind
from api.analytics.hours import hour_rows
from api.analytics.limits import HEAD_LIMITS, POWER_LIMITS

M_PER_BAR = 1e5 / (998.2 * 9.80665)
RATED_RPM = 2900.0
P1 = ((0.0, 6.1), (19.0, 5.8), (83.0, 4.0))
P2 = ((0.0, 10.0), (40.0, 8.4), (60.0, 7.0), (80.0, 4.5), (90.0, 3.0))
P3 = ((0.0, 5.0), (100.0, 4.999), (200.0, 4.998))
PUMPS = {"P1": P1, "P2": P2, "P3": P3}
FrameOf = Callable[..., pd.DataFrame]


def head_at_rated(points: tuple[tuple[float, float], ...], flow: np.ndarray) -> np.ndarray:
    """Head [m] on straight lines between the published points."""
    flows, bars = np.array(points).T
    return np.asarray(np.interp(flow, flows, bars * M_PER_BAR))


def weeks_of(
    make_frame: FrameOf,
    points: tuple[tuple[float, float], ...],
    kept: float = 1.0,
    days: int = 40,
    spread: float = 0.25,
) -> pd.DataFrame:
    """Readings of such a pump at moving speed and demand; ``kept`` of its head is left in its last days.

    Flow keeps within half of the greatest published one, give or take ``spread`` of it.
    """
    rng = np.random.default_rng(3)
    time = np.arange(days * 144) / 144
    speed = RATED_RPM * (0.8 + 0.15 * np.sin(2 * np.pi * time) + 0.03 * np.sin(2 * np.pi * time / 6.7))
    share = speed / RATED_RPM
    flow = points[-1][0] * share * (0.5 + spread * np.sin(2 * np.pi * time * 1.618))
    head = head_at_rated(points, flow / share) * share**2 * np.where(time >= days - 10, kept, 1.0)
    power = 998.2 * 9.80665 * head * flow / 3600 / 0.65 + 900 * share**3 + 60
    noise = rng.normal(1, 0.003, (3, len(time)))
    return make_frame(
        1_767_571_200_000 + np.arange(len(time)) * 600_000,
        speed_rpm=speed,
        flow_m3h=flow * noise[0],
        head_m=head * noise[1],
        power_w=power * noise[2],
    )


def learned(frame: pd.DataFrame, facts: PumpFacts) -> Curve:
    curve = learn_curve(hour_rows(frame, facts), facts)
    assert curve is not None
    return curve


WITHIN = {"P1": 0.015, "P2": 0.035, "P3": 0.001}
"""What a parabola can do for straight lines, as a share: P2 has a corner of its own at 60 m3/h, and there the
learned head is 3.1 % below the published one. ISO 9906 grade 2B allows 5 % (from memory)."""

SHUTOFF_WITHIN = {"P1": 0.03, "P2": 0.04, "P3": 0.001}
"""P2 is foretold 3.6 % too low, for the same reason."""

INSIDE = [(name, flow, bar) for name, points in PUMPS.items() for flow, bar in points[1:-1]]


@pytest.mark.parametrize(("name", "flow", "bar"), INSIDE)
@pytest.mark.parametrize("share", [0.7, 0.8, 0.95])
def test_each_published_point_is_learned_at_any_speed(
    make_frame: FrameOf, measured: PumpFacts, name: str, flow: float, bar: float, share: float
) -> None:
    curve = learned(weeks_of(make_frame, PUMPS[name], spread=0.45), measured)
    expected = bar * M_PER_BAR * share**2
    assert curve.head_m(flow * share, RATED_RPM * share) == pytest.approx(expected, rel=WITHIN[name])


@pytest.mark.parametrize("name", PUMPS)
def test_the_shutoff_head_is_foretold_though_never_seen(
    make_frame: FrameOf, measured: PumpFacts, name: str
) -> None:
    # Seen from a twentieth of the greatest published flow on.
    curve = learned(weeks_of(make_frame, PUMPS[name], spread=0.45), measured)
    expected = PUMPS[name][0][1] * M_PER_BAR
    assert curve.head_m(0.0, RATED_RPM) == pytest.approx(expected, rel=SHUTOFF_WITHIN[name])


def test_a_curve_without_fall_is_learned_as_one(make_frame: FrameOf, measured: PumpFacts) -> None:
    # P3 loses 0.04 % of its pressure from no flow to 200 m3/h.
    curve = learned(weeks_of(make_frame, P3), measured)
    low, high = curve.head_m([60.0, 140.0], RATED_RPM)
    assert high / low == pytest.approx(1.0, abs=0.002)


@pytest.mark.parametrize("name", PUMPS)
@pytest.mark.parametrize(("kept", "found"), [(0.97, 1), (1.0, 0)])
def test_three_percent_off_a_published_curve_is_found_and_none_is_not(
    make_frame: FrameOf, measured: PumpFacts, name: str, kept: float, found: int
) -> None:
    frame = weeks_of(make_frame, PUMPS[name], kept)
    hours = hour_rows(frame, measured)
    said = slow_findings(hours, learn_curve(hours, measured), measured)
    of_head = [one for one in said if one.kind in (Kind.HEAD_LOSS, Kind.HEAD_SENSOR_SHIFT)]
    assert len(of_head) == found


# ISO 9906:2012, tolerances of acceptance grades 1 and 2 on head and power, as shares (from memory; grade 1B
# head 3 % and power 4 %, grade 2B head 5 % and power 8 %).
GRADE_1_HEAD, GRADE_2_HEAD, GRADE_1_POWER, GRADE_2_POWER = 0.03, 0.05, 0.04, 0.08


def test_a_loss_is_told_before_it_leaves_what_a_grade_one_pump_may_be_off_when_new() -> None:
    assert HEAD_LIMITS.effect < GRADE_1_HEAD


def test_action_is_asked_for_where_a_grade_two_pump_would_fail_its_acceptance() -> None:
    assert ACTION_EFFECT == GRADE_2_HEAD


def test_power_alone_is_told_between_the_tolerances_of_the_two_grades() -> None:
    assert GRADE_1_POWER < POWER_LIMITS.effect < GRADE_2_POWER
