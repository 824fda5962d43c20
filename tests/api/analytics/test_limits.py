"""What a coarse speed register hides is never raised as a change, and widens what is said of a real one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import Curve, learn_curve
from api.analytics.drift import slow_findings
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding, Kind
from api.analytics.hours import hour_rows
from api.analytics.limits import HEAD_LIMITS, head_limits, hidden_by_speed
from api.analytics.spans import DAY_MS
from api.analytics.verdicts import Limits, Verdict, stands

Pump = Callable[..., pd.DataFrame]
STEP_RPM = 30.0


@pytest.fixture
def curve(make_pump: Pump, measured: PumpFacts) -> Curve:
    learned = learn_curve(hour_rows(make_pump(40), measured), measured)
    assert learned is not None
    return learned


def steady(curve: Curve, step_rpm: float) -> Curve:
    return replace(curve, log_speed_range=(-0.01, 0.01), speed_step_rpm=step_rpm)


def one_speed(make_pump: Pump, true_rpm: tuple[float, float]) -> pd.DataFrame:
    """Return a pump at one speed that truly moves on day 40, read in steps of 30 rpm from 2400 on."""
    frame = make_pump(60, drift=0.001)
    late = frame.index >= frame.index[0] + 40 * DAY_MS
    speed = np.where(late, true_rpm[1], true_rpm[0])
    ratio = speed / frame["speed_rpm"]
    shown = 2400.0 + STEP_RPM * np.round((speed - 2400.0) / STEP_RPM)
    return frame.assign(
        speed_rpm=shown,
        flow_m3h=frame["flow_m3h"] * ratio,
        head_m=frame["head_m"] * ratio**2,
        power_w=frame["power_w"] * ratio**3,
    )


def judge(frame: pd.DataFrame, facts: PumpFacts) -> list[Finding]:
    hours = hour_rows(frame, facts)
    return slow_findings(hours, learn_curve(hours, facts), facts)


def test_a_step_is_twice_its_share_of_speed_in_head(curve: Curve) -> None:
    # Affinity law: head goes with the square of speed (from memory, in any handbook of pumps).
    near = steady(curve, 10.0)
    assert hidden_by_speed(near) == pytest.approx(2 * 10.0 / curve.typical_speed_rpm)
    n = curve.typical_speed_rpm
    assert hidden_by_speed(near) == pytest.approx(((n + 10.0) / n) ** 2 - 1, rel=1e-2)


def test_a_speed_that_roams_over_many_steps_averages_them_out(curve: Curve) -> None:
    assert hidden_by_speed(replace(curve, speed_step_rpm=STEP_RPM)) == 0.0


def test_a_speed_without_steps_hides_nothing(curve: Curve) -> None:
    assert head_limits(PumpFacts(pump="P01"), steady(curve, 0.0)) == HEAD_LIMITS


def test_what_is_hidden_comes_on_top_of_what_the_site_file_asks_for(curve: Curve) -> None:
    facts, near = PumpFacts(pump="P01", head_loss_notice=0.02), steady(curve, STEP_RPM)
    assert head_limits(facts, near).effect == pytest.approx(0.02 + hidden_by_speed(near))


def test_a_setpoint_that_moves_within_a_step_is_no_loss_of_head(make_pump: Pump, measured: PumpFacts) -> None:
    assert judge(one_speed(make_pump, (2412.0, 2391.0)), measured) == []


def test_a_loss_beyond_what_the_step_hides_is_found_with_the_step_in_its_interval(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = one_speed(make_pump, (2412.0, 2391.0))
    frame.loc[frame.index >= frame.index[0] + 40 * DAY_MS, "head_m"] *= 0.94
    loss = [finding for finding in judge(frame, measured) if finding.kind is Kind.HEAD_LOSS]
    assert len(loss) == 1
    assert loss[0].effect_low is not None
    assert loss[0].effect_high is not None
    assert loss[0].effect_low <= -0.06 <= loss[0].effect_high


def verdict(level: float, effect: float = -0.03) -> Verdict:
    """Return a sure loss, of which this level is what would be told."""
    return Verdict(
        last_day=60,
        change_day=40,
        is_ramp=False,
        effect=effect,
        standard_error=0.004,
        recent=level,
        level=level,
        level_from_day=41,
        level_error=0.005,
    )


def test_a_loss_whose_interval_would_hold_zero_is_not_raised() -> None:
    limits = Limits(z=5.0, effect=0.008)
    # 1.96 standard errors, and the form's share of the level, are 0.98 % of 1.0 %.
    assert stands(verdict(-0.0102), limits)
    assert not stands(verdict(-0.0098), limits)


def test_what_may_be_hidden_widens_the_interval_that_must_not_hold_zero() -> None:
    assert stands(verdict(-0.019), Limits(z=5.0, effect=0.008))
    assert not stands(verdict(-0.019), Limits(z=5.0, effect=0.008, hidden=0.01))


def test_a_level_on_the_other_side_of_zero_is_no_alarm() -> None:
    assert not stands(replace(verdict(0.03), recent=-0.03), Limits(z=5.0, effect=0.008))
