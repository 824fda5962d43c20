"""Fault codes: every one is a finding, and one after work on the pump asks about that work first."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from api.analytics.facts import PumpFacts, ServiceEvent
from api.analytics.finding import Finding, Priority
from api.analytics.states.drive_fault import drive_faults
from api.analytics.states.joining import join
from api.analytics.states.track import track_of
from tests.api.analytics.states.hand_made import FACTS, START_UTC_MS, between, readings, stopped

HOUR_MS = 3_600_000


def with_code(code: float, from_s: float = 7200, to_s: float = 9000) -> pd.DataFrame:
    frame = readings(12, 60.0)
    frame.loc[between(frame, from_s, to_s), "fault_code"] = code
    return frame


def found(frame: pd.DataFrame, facts: PumpFacts = FACTS) -> list[Finding]:
    return join(drive_faults(track_of(frame, facts), facts))


def value(finding: Finding, name: str) -> float | None:
    return {one.name: one.value for one in finding.evidence}.get(name)


def test_no_code_is_no_finding() -> None:
    assert found(with_code(0.0)) == []


def test_the_effect_is_the_code() -> None:
    (one,) = found(with_code(17.0))
    assert (one.effect, one.effect_unit) == (17.0, "1")


def test_two_codes_are_two_findings() -> None:
    frame = with_code(17.0)
    frame.loc[between(frame, 9000, 9600), "fault_code"] = 23.0
    assert [one.effect for one in found(frame)] == [17.0, 23.0]


def test_one_code_that_comes_back_is_counted() -> None:
    frame = with_code(17.0)
    frame.loc[between(frame, 9600, 9900), "fault_code"] = 17.0
    (one,) = found(frame)
    assert value(one, "episodes") == 2


@pytest.mark.parametrize(("stops", "priority"), [(True, Priority.URGENT), (False, Priority.SOON)])
def test_a_fault_that_stops_the_pump_is_urgent(stops: bool, priority: Priority) -> None:
    frame = with_code(17.0)
    if stops:
        frame = stopped(frame, between(frame, 7260, 9000))
    assert found(frame)[0].priority is priority


def test_a_code_that_the_manual_explains_is_marked() -> None:
    facts = replace(FACTS, fault_meanings={17: "rotor blocked"})
    assert value(found(with_code(17.0), facts)[0], "meaning_known") == 1.0
    assert value(found(with_code(18.0), facts)[0], "meaning_known") == 0.0


@pytest.mark.parametrize(("hours_before", "says_so"), [(3, True), (30, False)])
def test_a_fault_within_a_day_of_service_asks_about_the_service(hours_before: int, says_so: bool) -> None:
    event = ServiceEvent(time_utc_ms=START_UTC_MS + 2 * HOUR_MS - hours_before * HOUR_MS, kind="seal_changed")
    (one,) = found(with_code(17.0), replace(FACTS, events=(event,)))
    assert (one.checks[0] == "recheck_recent_work") is says_so


@pytest.mark.parametrize(("stop_h", "says_so"), [(9, True), (2, False)])
def test_a_fault_after_a_long_stop_asks_about_unwritten_work(stop_h: int, says_so: bool) -> None:
    frame = with_code(17.0, 11 * 3600, 11.5 * 3600)
    frame = stopped(frame, between(frame, (11 - stop_h) * 3600 - 600, 11 * 3600 - 600))
    assert (found(frame)[0].checks[0] == "recheck_recent_work") is says_so
