"""What is said of a size: its interval holds the truth, whatever the hour of the onset and whatever moved."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import learn_curve
from api.analytics.drift import slow_findings
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding, Kind
from api.analytics.hours import hour_rows
from api.analytics.spans import DAY_MS

Pump = Callable[..., pd.DataFrame]


def judge(frame: pd.DataFrame, facts: PumpFacts) -> list[Finding]:
    hours = hour_rows(frame, facts)
    return slow_findings(hours, learn_curve(hours, facts), facts)


def holds(finding: Finding, truth: float) -> bool:
    assert finding.effect_low is not None
    assert finding.effect_high is not None
    return finding.effect_low <= truth <= finding.effect_high


def test_steps_at_any_hour_lie_within_their_interval_nine_times_of_ten(
    make_pump: Pump, measured: PumpFacts
) -> None:
    rng = np.random.default_rng(11)
    held = []
    for seed in range(20):
        onset, loss = float(rng.uniform(40, 42)), float(rng.uniform(0.04, 0.09))
        step = make_pump(
            48,
            seed=seed,
            head_factor=lambda day, onset=onset, loss=loss: np.where(day >= onset, 1 - loss, 1.0),
            power_factor=lambda day, onset=onset, loss=loss: np.where(day >= onset, 1 - 0.85 * loss, 1.0),
        )
        held += [holds(one, -loss) for one in judge(step, measured) if one.kind is Kind.HEAD_LOSS]
    assert len(held) == 20
    assert np.mean(held) >= 0.9


@pytest.mark.parametrize("hour", [15, 19, 23])
def test_a_step_of_the_evening_does_not_pass_for_a_bend_of_the_healthy_curve(
    make_pump: Pump, measured: PumpFacts, hour: int
) -> None:
    onset = 40 + hour / 24
    found = judge(make_pump(45, head_factor=lambda day: np.where(day >= onset, 0.92, 1.0)), measured)
    assert found[0].effect == pytest.approx(-0.08, abs=0.006)


@pytest.mark.parametrize("shift", [-0.2, -0.1, 0.1, 0.2])
def test_a_flow_meters_shift_is_told_as_a_share_of_flow(
    make_pump: Pump, measured: PumpFacts, shift: float
) -> None:
    frame = make_pump(60)
    frame.loc[frame.index >= frame.index[0] + 40 * DAY_MS, "flow_m3h"] *= 1 + shift
    found = [one for one in judge(frame, measured) if one.kind in (Kind.FLOW_METER_SHIFT, Kind.HEAD_LOSS)]
    told = [one for one in found if one.kind is Kind.FLOW_METER_SHIFT]
    assert all(one.effect == pytest.approx(shift, abs=0.03) and holds(one, shift) for one in told)
    assert told or "flow_meter_reads_low" in found[0].causes[0].names


def fluid(frame: pd.DataFrame, head: float, power: float) -> pd.DataFrame:
    late = frame.index >= frame.index[0] + 40 * DAY_MS
    factor = {"head_m": 1 + head, "power_w": 1 + power}
    return frame.assign(**{name: frame[name] * np.where(late, by, 1.0) for name, by in factor.items()})


def test_another_fluid_is_a_kind_of_its_own_and_says_of_what_its_size_is(
    make_pump: Pump, measured: PumpFacts
) -> None:
    found = judge(fluid(make_pump(70), -0.015, 0.06), measured)
    assert {one.kind for one in found} == {Kind.FLUID_CHANGE}
    numbers = {each.name: each.value for each in found[0].evidence}
    assert numbers["head_residual_fraction"] == found[0].effect == pytest.approx(-0.015, abs=0.006)


def test_another_fluid_that_shows_in_power_alone_has_its_size_and_day_from_power(
    make_pump: Pump, measured: PumpFacts
) -> None:
    found = judge(fluid(make_pump(70), -0.004, 0.06), measured)
    for one in found:
        numbers = {each.name: each.value for each in one.evidence}
        assert "head_residual_fraction" not in numbers
        assert numbers["power_residual_fraction"] == one.effect == pytest.approx(0.06, abs=0.01)
        assert abs(one.first_utc_ms - int(make_pump(1).index[0]) - 40 * DAY_MS) <= DAY_MS
    assert len(found) == 1
