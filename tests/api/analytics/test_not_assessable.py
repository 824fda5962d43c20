"""Silence is never mistaken for health: what cannot be judged says so, and why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import learn_curve
from api.analytics.facts import Provenance, PumpFacts
from api.analytics.hours import hour_rows
from api.analytics.not_assessable import judged_share, not_assessable_findings

Pump = Callable[..., pd.DataFrame]


def reasons(frame: pd.DataFrame, facts: PumpFacts) -> list[str]:
    hours = hour_rows(frame, facts)
    found = not_assessable_findings(hours, learn_curve(hours, facts), facts)
    return [finding.causes[0].names[0] for finding in found]


def test_a_measured_pump_in_its_usual_region_needs_no_excuse(make_pump: Pump, measured: PumpFacts) -> None:
    assert reasons(make_pump(60), measured) == []


@pytest.mark.parametrize("channel", ["speed_rpm", "power_w", "flow_m3h", "head_m"])
def test_a_channel_that_never_came_is_named_as_the_reason(
    make_pump: Pump, measured: PumpFacts, channel: str
) -> None:
    frame = make_pump(60)
    frame[channel] = np.nan
    if channel == "speed_rpm":
        frame["power_w"] = frame["power_w"].abs()
    assert reasons(frame, measured) == ["channel_missing"]


def test_three_days_are_too_short_for_a_baseline(make_pump: Pump, measured: PumpFacts) -> None:
    assert reasons(make_pump(3), measured) == ["baseline_too_short"]


def test_unknown_provenance_asks_to_be_declared(make_pump: Pump) -> None:
    assert reasons(make_pump(60), PumpFacts(pump="P01")) == ["unknown_provenance"]


def test_a_pump_that_never_ran_needs_no_excuse(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(20)
    frame[["speed_rpm", "flow_m3h", "power_w"]] = 0.0
    assert reasons(frame, measured) == []


def test_the_share_is_of_the_last_four_weeks_running_hours(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(60)
    # Every second day of the last four weeks without head: half of the running hours cannot be judged.
    day = (frame.index - frame.index[0]) // 86_400_000
    frame.loc[(day >= 32) & (day % 2 == 0), "head_m"] = np.nan
    hours = hour_rows(frame, measured)
    assert judged_share(hours, learn_curve(hours, measured), measured) == pytest.approx(0.5, abs=0.03)


def test_estimated_provenance_leaves_a_share_of_nothing(make_pump: Pump, measured: PumpFacts) -> None:
    facts = replace(measured, head=Provenance.ESTIMATED)
    hours = hour_rows(make_pump(60), facts)
    assert judged_share(hours, learn_curve(hours, facts), facts) == 0.0
