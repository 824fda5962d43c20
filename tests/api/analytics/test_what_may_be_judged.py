"""Hours that head tells are judged by head; what is not judged is never counted, and its reason is named."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.codes import CHECKS, NOT_ASSESSABLE_REASONS
from api.analytics.curve import learn_curve
from api.analytics.drift import slow_findings, whole_look
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding, Kind
from api.analytics.hours import hour_rows
from api.analytics.not_assessable import (
    _CHECKS,
    Sight,
    first_of_late_utc_ms,
    judged_share,
    not_assessable_findings,
)
from api.analytics.residuals import residuals
from api.analytics.spans import DAY_MS
from dashboards.wording.causes import REASONS
from dashboards.wording.checks import CHECKS as WORDED_CHECKS

Pump = Callable[..., pd.DataFrame]
RESTLESS = [1.0, 1.3, 0.7, 1.2, 0.8, 1.0]
"""Six readings an hour that scatter about the same mean."""


def late(frame: pd.DataFrame, since_day: int) -> np.ndarray:
    return np.asarray((frame.index - frame.index[0]) // DAY_MS >= since_day)


def restless(frame: pd.DataFrame, channel: str, since_day: int) -> pd.DataFrame:
    factor = np.where(late(frame, since_day), np.resize(RESTLESS, len(frame)), 1.0)
    return frame.assign(**{channel: frame[channel] * factor})


def unable(frame: pd.DataFrame, facts: PumpFacts) -> list[Finding]:
    hours = hour_rows(frame, facts)
    return not_assessable_findings(hours, learn_curve(hours, facts), facts)


def kept_share(frame: pd.DataFrame, facts: PumpFacts) -> float:
    """Return the share of the last four weeks' running time that the residuals keep."""
    hours = hour_rows(frame, facts)
    curve = learn_curve(hours, facts)
    assert curve is not None
    recent = hours[hours.index >= first_of_late_utc_ms(int(hours.index[-1]))]["seconds_running"]
    kept = recent.index.isin(residuals(hours, curve, facts).hour_utc_ms)
    return float(recent[kept].sum() / recent.sum())


def test_power_that_knows_no_rest_hides_no_loss_of_head(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(70, head_factor=lambda day: np.where(day >= 45, 0.92, 1.0))
    hours = hour_rows(restless(frame, "power_w", 30), measured)
    found = slow_findings(hours, learn_curve(hours, measured), measured)
    assert [finding.kind for finding in found] == [Kind.HEAD_LOSS]
    assert found[0].effect == pytest.approx(-0.08, abs=0.01)


def test_a_power_that_is_stuck_hides_no_loss_of_head_and_colours_no_cause(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = make_pump(70, head_factor=lambda day: np.where(day >= 45, 0.92, 1.0))
    stuck = frame.assign(power_w=np.where(late(frame, 30), frame["power_w"].max(), frame["power_w"]))
    hours = hour_rows(stuck, measured)
    loss = [one for one in slow_findings(hours, learn_curve(hours, measured), measured) if one.active]
    assert [one.kind for one in loss] == [Kind.HEAD_LOSS]
    assert "impeller_wear" in loss[0].causes[0].names
    assert "power_residual_fraction" not in {each.name for each in loss[0].evidence}


def test_power_is_not_judged_in_hours_in_which_it_knows_no_rest(make_pump: Pump, measured: PumpFacts) -> None:
    frame = restless(make_pump(60, power_factor=lambda day: np.where(day >= 45, 1.3, 1.0)), "power_w", 40)
    hours = hour_rows(frame, measured)
    assert whole_look(hours, learn_curve(hours, measured), measured).shifts() == []


@pytest.mark.parametrize("channel", ["head_m", "power_w", "none"])
def test_the_share_is_that_of_the_hours_which_are_judged(
    make_pump: Pump, measured: PumpFacts, channel: str
) -> None:
    frame = make_pump(60) if channel == "none" else restless(make_pump(60), channel, 46)
    hours = hour_rows(frame, measured)
    share = judged_share(hours, learn_curve(hours, measured), measured)
    assert share == pytest.approx(kept_share(frame, measured), abs=1e-9)
    assert share == pytest.approx(0.5 if channel == "head_m" else 1.0, abs=0.06)


def test_the_share_is_of_running_time_so_that_short_runs_weigh_little(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = make_pump(60, step_s=60)
    minute = (frame.index.to_numpy() // 60_000) % 60
    # From noon to midnight the pump runs for six minutes an hour: hours too short to be judged.
    short = (frame.index.to_numpy() // 3_600_000 % 24 >= 12) & (minute >= 6) & late(frame, 32)
    frame.loc[short, ["speed_rpm", "flow_m3h", "head_m", "power_w"]] = 0.0
    hours = hour_rows(frame, measured)
    assert judged_share(hours, learn_curve(hours, measured), measured) > 0.9


def test_head_that_knows_no_rest_is_the_reason(make_pump: Pump, measured: PumpFacts) -> None:
    found = unable(restless(make_pump(60), "head_m", 34), measured)
    assert [finding.causes[0].names for finding in found] == [("too_restless",)]
    assert found[0].assessable_share == pytest.approx(2 / 28, abs=0.04)


def test_readings_that_seldom_come_are_the_reason(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(60)
    frame.loc[late(frame, 34), "head_m"] = np.nan
    assert [finding.causes[0].names for finding in unable(frame, measured)] == [("too_few_readings",)]


def test_a_pump_where_it_never_was_is_the_reason(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(59, flow_share=lambda day: np.where(day >= 57, 0.4, 1.0))
    hours = hour_rows(frame, measured)
    moved = hours[hours.index >= frame.index[0] + 57 * DAY_MS]
    few = pd.concat([hours[hours.index < frame.index[0] + 29 * DAY_MS], moved])
    found = not_assessable_findings(few, learn_curve(few, measured), measured)
    assert [finding.causes[0].names for finding in found] == [("outside_learned_region",)]


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"flow_m3h": 0.0}, "flow_reads_zero"),
        ({"head_m": 0.0}, "head_reads_zero"),
        ({"power_w": 0.0}, "power_reads_zero"),
        ({"speed_rpm": 0.0}, "speed_reads_zero"),
    ],
)
def test_a_pump_that_never_gets_a_curve_is_not_told_to_wait(
    make_pump: Pump, measured: PumpFacts, changed: dict[str, float], reason: str
) -> None:
    found = unable(make_pump(40).assign(**changed), measured)
    assert [finding.causes[0].names for finding in found] == [(reason,)]
    assert "wait_for_baseline" not in found[0].checks


def test_head_of_the_wrong_sign_is_the_reason(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(40)
    found = unable(frame.assign(head_m=-frame["head_m"]), measured)
    assert [finding.causes[0].names for finding in found] == [("head_has_wrong_sign",)]


def test_units_that_contradict_are_told_although_there_is_a_curve(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = make_pump(40)
    found = unable(frame.assign(flow_m3h=frame["flow_m3h"] * 4.4, head_m=frame["head_m"] * 3.3), measured)
    assert [finding.causes[0].names for finding in found] == [("units_contradict",)]


def test_a_run_of_some_minutes_is_a_run(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(1, step_s=60)
    frame.loc[frame.index >= frame.index[0] + 8 * 60_000, ["speed_rpm", "flow_m3h", "power_w"]] = 0.0
    assert Sight().then(hour_rows(frame, measured)).ran


def test_every_reason_has_words_and_a_next_step() -> None:
    assert set(NOT_ASSESSABLE_REASONS) == set(_CHECKS)
    assert set(NOT_ASSESSABLE_REASONS) <= set(REASONS)
    assert all(checks and set(checks) <= CHECKS & set(WORDED_CHECKS) for checks in _CHECKS.values())


def test_without_measured_flow_nothing_is_judged(make_pump: Pump, measured: PumpFacts) -> None:
    hours = hour_rows(make_pump(40), measured)
    unknown = replace(measured, flow=PumpFacts(pump="P01").flow)
    assert judged_share(hours, learn_curve(hours, measured), unknown) == 0.0
