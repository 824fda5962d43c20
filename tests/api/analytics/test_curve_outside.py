"""Curves learned from readings against pump curves that others publish, and limits against a standard's.

The points are the standard types P1 and P2 of pandapipes (an open simulator of pipe networks, University
of Kassel and Fraunhofer IEE; its files P1.csv and P2.csv): flow in m3/h, pressure lift in bar.
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
PUMPS = {"P1": P1, "P2": P2}
FrameOf = Callable[..., pd.DataFrame]


def head_at_rated(points: tuple[tuple[float, float], ...], flow: np.ndarray) -> np.ndarray:
    """A smooth curve through published points: a polynomial of degree two, as pandapipes itself fits."""
    flows, bars = np.array(points).T
    return np.asarray(np.polyval(np.polyfit(flows, bars * M_PER_BAR, 2), flow))


def weeks_of(
    make_frame: FrameOf, points: tuple[tuple[float, float], ...], kept: float = 1.0, days: int = 40
) -> pd.DataFrame:
    """Readings of such a pump at moving speed and demand; ``kept`` of its head is left in its last days."""
    rng = np.random.default_rng(3)
    time = np.arange(days * 144) / 144
    speed = RATED_RPM * (0.8 + 0.15 * np.sin(2 * np.pi * time) + 0.03 * np.sin(2 * np.pi * time / 6.7))
    share = speed / RATED_RPM
    flow = points[-1][0] * share * (0.5 + 0.25 * np.sin(2 * np.pi * time * 1.618))
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


@pytest.mark.parametrize("name", PUMPS)
@pytest.mark.parametrize("share", [0.7, 0.8, 0.95])
def test_the_published_curve_is_learned_at_any_speed_within_one_percent(
    make_frame: FrameOf, measured: PumpFacts, name: str, share: float
) -> None:
    points = PUMPS[name]
    curve = learned(weeks_of(make_frame, points), measured)
    flow = np.linspace(0.3, 0.7, 9) * points[-1][0]
    expected = head_at_rated(points, flow) * share**2
    assert curve.head_m(flow * share, RATED_RPM * share) == pytest.approx(expected, rel=0.01)


def test_the_shutoff_head_is_foretold_though_never_seen(make_frame: FrameOf, measured: PumpFacts) -> None:
    # P1's published shutoff pressure is 6.1 bar; it was learned between a quarter and three quarters of flow.
    curve = learned(weeks_of(make_frame, P1), measured)
    assert float(curve.head_m(0.0, RATED_RPM)) == pytest.approx(6.1 * M_PER_BAR, rel=0.03)


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
