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
from api.analytics.spans import DAY_MS
from api.analytics.system import system_findings
from tests.fleet.cases import START_UTC_MS, Case, hours_of

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


def day_of(time_utc_ms: int, frame: pd.DataFrame) -> float:
    return (time_utc_ms - int(frame.index[0])) / DAY_MS


def test_a_strainer_that_was_cleaned_stays_told_from_when_it_loaded_to_when_it_was_cleaned(
    make_pump: Pump, measured: PumpFacts
) -> None:
    def loads(day: np.ndarray) -> np.ndarray:
        return np.where(day < 90, 1 - 0.35 * np.clip((day - 50) / 12, 0, 1), 1.0)

    frame = make_pump(140, flow_share=loads)
    found = judge(frame, measured)
    assert [(finding.kind, finding.active) for finding in found] == [(Kind.RESISTANCE_RISE, False)]
    assert 49 <= day_of(found[0].first_utc_ms, frame) <= 60
    assert 89 <= day_of(found[0].last_utc_ms, frame) <= 93


def test_what_is_told_of_its_beginning_stays_as_it_grows(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(110, flow_share=lambda day: 1 - 0.4 * np.clip((day - 50) / 45, 0, 1))
    hours = hour_rows(frame, measured)
    curve = learn_curve(hours, measured)
    assert curve is not None
    begun = set()
    for day in range(70, 110, 5):
        part = hours[hours.index < frame.index[0] + day * DAY_MS]
        begun |= {finding.first_utc_ms for finding in system_findings(part, curve, measured)}
    assert len(begun) == 1


def test_valves_that_follow_the_seasons_are_no_change(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(
        400, step_s=1800, flow_share=lambda day: 1 + 0.22 * np.cos(2 * np.pi * (day - 20) / 365)
    )
    assert judge(frame, measured) == []


def test_what_loads_up_over_a_year_is_told_against_the_same_season(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = make_pump(400, step_s=1800, flow_share=lambda day: 1 - 0.3 * np.clip(day / 380, 0, 1))
    assert [finding.kind for finding in judge(frame, measured)] == [Kind.RESISTANCE_RISE]


@pytest.mark.parametrize("family", ["A", "B", "C"])
@pytest.mark.parametrize("fault", [None, "plugging"])
def test_weather_alone_is_told_of_no_simulated_pump_and_plugging_of_every(
    family: str, fault: str | None
) -> None:
    case = Case(family=family, seed=31, days=200, fault=fault, severity=0.8)  # type: ignore[arg-type]
    hours = hours_of(case)
    curve = learn_curve(hours, case.facts())
    assert curve is not None
    found = system_findings(hours, curve, case.facts())
    assert [finding.kind for finding in found] == ([Kind.RESISTANCE_RISE] if fault else [])
    assert all(abs(finding.first_utc_ms - case.onset_utc_ms) <= 3 * DAY_MS for finding in found)
    assert case.onset_utc_ms > START_UTC_MS
