"""A flow meter at the top of its range hides what flows; no other meter is taken for one."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import learn_curve
from api.analytics.drift import slow_findings
from api.analytics.facts import PumpFacts
from api.analytics.finding import INFORMATION_KINDS
from api.analytics.flow_range import at_flow_range
from api.analytics.hours import hour_rows
from api.analytics.observations import observations
from api.analytics.spans import DAY_MS

Pump = Callable[..., pd.DataFrame]
RANGE_M3H = 21.0


def shown(frame: pd.DataFrame, flow_step: float = 0.1, top: float = np.inf) -> pd.DataFrame:
    """The readings as a meter of this step and range shows them."""
    flow = np.minimum(frame["flow_m3h"], top)
    return frame.assign(flow_m3h=np.round(flow / flow_step) * flow_step, head_m=frame["head_m"].round(1))


def hidden(frame: pd.DataFrame, facts: PumpFacts) -> pd.Series:
    hours = hour_rows(frame, facts)
    day = hours.index.to_numpy() // DAY_MS
    return pd.Series(at_flow_range(hours, day), index=hours.index)


def opening(day: np.ndarray) -> np.ndarray:
    """A system that opens by a quarter on day 50."""
    return np.where(day < 50, 0.85, 1.1)


def true_flow_by_hour(frame: pd.DataFrame) -> pd.Series:
    return frame["flow_m3h"].groupby(frame.index // 3_600_000 * 3_600_000).mean()


def test_hours_beyond_the_range_are_masked(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(20)
    beyond = true_flow_by_hour(frame) > 1.02 * RANGE_M3H
    assert beyond.sum() > 50
    assert hidden(shown(frame, top=RANGE_M3H), measured)[beyond].mean() > 0.99


def test_hours_well_below_the_range_still_judge(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(20)
    mask, below = hidden(shown(frame, top=RANGE_M3H), measured), true_flow_by_hour(frame) < 0.9 * RANGE_M3H
    whole_days = mask.groupby(mask.index // DAY_MS).transform("mean") == 1
    assert not mask[below & ~whole_days].any()


@pytest.mark.parametrize("flow_step", [0.1, 0.5, 1.0])
def test_a_meter_with_range_to_spare_hides_next_to_nothing_however_coarse(
    make_pump: Pump, measured: PumpFacts, flow_step: float
) -> None:
    assert hidden(shown(make_pump(30), flow_step=flow_step), measured).mean() < 0.01


def test_a_pump_of_one_duty_with_a_quiet_coarse_meter_hides_nothing(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = make_pump(20)
    noise = np.random.default_rng(1).normal(0, 0.04, len(frame))
    frame = frame.assign(speed_rpm=2450.0, flow_m3h=20.0, head_m=11.0 + noise, power_w=700.0 + noise)
    assert not hidden(shown(frame), measured).any()


def test_a_control_that_holds_flow_while_speed_follows_the_system_hides_nothing(
    make_pump: Pump, measured: PumpFacts, true_head: tuple[float, float, float]
) -> None:
    frame = make_pump(20)
    a, b, c = true_head
    noise = np.random.default_rng(1).normal(1, 0.003, len(frame))
    head = (a * frame["speed_rpm"] ** 2 + b * frame["speed_rpm"] * 18.0 + c * 18.0**2) * noise
    assert not hidden(shown(frame.assign(flow_m3h=18.0, head_m=head)), measured).any()


def test_a_loss_on_one_duty_is_not_taken_for_a_range(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(20)
    noise = np.random.default_rng(1).normal(0, 0.04, len(frame))
    worn = np.where(np.arange(len(frame)) < len(frame) // 2, 1.0, 0.9)
    frame = frame.assign(speed_rpm=2450.0, flow_m3h=20.0, head_m=11.0 * worn + noise, power_w=700.0)
    assert not hidden(shown(frame), measured).any()


def test_runs_that_start_and_stop_in_every_hour_are_no_lively_flow(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = make_pump(6, step_s=60)
    on = (np.arange(len(frame)) // 10) % 2 == 0
    noise = np.random.default_rng(1).normal(0, 0.04, len(frame))
    frame = frame.assign(
        speed_rpm=2450.0 * on, flow_m3h=20.0 * on, head_m=(11.0 + noise) * on, power_w=700.0 * on
    )
    assert not hidden(shown(frame), measured).any()


@pytest.mark.parametrize("seed", range(4))
def test_more_water_than_the_meter_shows_is_no_loss_of_head(
    make_pump: Pump, measured: PumpFacts, seed: int
) -> None:
    opened = make_pump(90, seed=seed, flow_share=opening)
    assert opened["flow_m3h"].max() > 1.15 * RANGE_M3H
    hours = hour_rows(shown(opened, top=RANGE_M3H), measured)
    found = slow_findings(hours, learn_curve(hours, measured), measured)
    assert [one.kind for one in found if one.kind not in INFORMATION_KINDS] == []


def test_without_the_mask_it_would_be(
    make_pump: Pump, measured: PumpFacts, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        "api.analytics.observations.at_flow_range", lambda hours, day: np.zeros(len(hours), dtype=bool)
    )
    # A flow that stands at its top all day is one that stands still as well.
    monkeypatch.setattr(
        "api.analytics.residuals.stuck_hours", lambda hours, *_: np.zeros(len(hours), dtype=bool)
    )
    opened = make_pump(90, flow_share=opening)
    hours = hour_rows(shown(opened, top=RANGE_M3H), measured)
    found = slow_findings(hours, learn_curve(hours, measured), measured)
    assert [one.kind for one in found if one.kind not in INFORMATION_KINDS] != []


def test_a_day_taken_alone_gives_the_mask_of_the_whole_history(make_pump: Pump, measured: PumpFacts) -> None:
    hours = hour_rows(shown(make_pump(12), top=RANGE_M3H), measured)
    day = hours.index.to_numpy() // DAY_MS
    alone = [at_flow_range(hours[day == one], day[day == one]) for one in np.unique(day)]
    assert at_flow_range(hours, day).tolist() == np.concatenate(alone).tolist()
    assert len(observations(hours)) < len(hours)
