"""The system is told apart from the pump: shown as information, never as an alarm."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import learn_curve
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding, Kind, Priority
from api.analytics.hours import hour_rows
from api.analytics.system import system_findings

Pump = Callable[..., pd.DataFrame]


def judge(frame: pd.DataFrame, facts: PumpFacts) -> list[Finding]:
    hours = hour_rows(frame, facts)
    curve = learn_curve(hours, facts)
    assert curve is not None
    return system_findings(hours, curve, facts)


def less_flow(share: float, first: float) -> Callable[[np.ndarray], np.ndarray]:
    return lambda day: np.where(day >= first, share, 1.0)


def test_a_circuit_that_loads_up_is_reported_as_a_rise_of_resistance(
    make_pump: Pump, measured: PumpFacts
) -> None:
    found = judge(make_pump(70, flow_share=less_flow(0.65, 40)), measured)
    assert [(finding.kind, finding.priority) for finding in found] == [
        (Kind.RESISTANCE_RISE, Priority.INFORMATION)
    ]


def test_a_circuit_that_opens_is_reported_as_a_change_of_the_system(
    make_pump: Pump, measured: PumpFacts
) -> None:
    found = judge(make_pump(70, flow_share=less_flow(1.5, 40)), measured)
    assert [finding.kind for finding in found] == [Kind.SYSTEM_CHANGE]


@pytest.mark.parametrize("days_held", [12, 16])
def test_it_must_hold_for_two_weeks(make_pump: Pump, measured: PumpFacts, days_held: int) -> None:
    found = judge(make_pump(60, flow_share=less_flow(0.6, 60 - days_held)), measured)
    assert len(found) == (1 if days_held >= 14 else 0)


def test_a_steady_system_says_nothing(make_pump: Pump, measured: PumpFacts) -> None:
    assert judge(make_pump(90), measured) == []
