"""The simulator's pumps on trial: each fault by its right name, at each poll rate; healthy pumps silent."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from api.analytics.facts import Provenance
from api.analytics.finding import INFORMATION_KINDS, Kind
from api.analytics.states import LEAD_IN_S, fast_episodes, fast_findings, join, provenance_check
from simulator.plant.spec import Fault, FaultKind
from tests.api.analytics.states.trials import (
    DAY_MS,
    KIND_OF,
    START_UTC_MS,
    WATCH_MS,
    Trial,
    first_after,
    frame_of,
)

HOUR_MS = 3_600_000
ONSET_MS = WATCH_MS + int(1.5 * DAY_MS)
SEVERITY: dict[FaultKind, float] = {"air": 0.05, "hunting": 0.06}
PERIOD_S: dict[FaultKind, float] = {"air": 2400.0, "hunting": 270.0, "trip_and_restart": 420.0}
EIGHT_WEEKS_D = 56.0


def with_fault(kind: FaultKind, interval_s: int = 10, estimated: bool = False, seed: int = 1) -> Trial:
    fault = Fault(
        kind=kind,
        start_utc_ms=ONSET_MS,
        end_utc_ms=ONSET_MS + 2 * HOUR_MS,
        severity=SEVERITY.get(kind, 0.05),
        period_s=PERIOD_S.get(kind, 450.0),
        code=41,
    )
    trial = Trial(
        family="A", seed=seed, interval_s=interval_s, days=1.7, estimated=estimated, faults=(fault,)
    )
    return trial


def alarms(trial: Trial) -> set[Kind]:
    return {one.kind for one in trial.episodes()} - INFORMATION_KINDS


@pytest.mark.parametrize("estimated", [False, True], ids=["measured", "estimated"])
@pytest.mark.parametrize("interval_s", [1, 10, 60])
@pytest.mark.parametrize("kind", [kind for kind in KIND_OF if kind != "frozen_telemetry"])
def test_each_fault_is_found_under_its_own_name(kind: FaultKind, interval_s: int, estimated: bool) -> None:
    trial = with_fault(kind, interval_s, estimated)
    end_ms = ONSET_MS + 2 * HOUR_MS
    assert first_after(trial.episodes(), KIND_OF[kind], ONSET_MS, end_ms) is not None


@pytest.mark.parametrize("interval_s", [1, 10, 60])
def test_frozen_telemetry_is_found_under_its_own_name_alone(interval_s: int) -> None:
    assert alarms(with_fault("frozen_telemetry", interval_s)) == {Kind.FROZEN_READING}


@pytest.mark.parametrize("kind", ["air", "closed_discharge", "hunting", "short_cycling"])
def test_nothing_else_is_said_beside_it(kind: FaultKind) -> None:
    assert alarms(with_fault(kind)) == {KIND_OF[kind]}


def test_a_trip_is_told_from_a_controller_that_cycles() -> None:
    tripping = join(with_fault("trip_and_restart").episodes())
    cycling = join(with_fault("short_cycling").episodes())
    first = {
        name: next(one for one in found if one.kind is Kind.REPEATED_STARTS).causes[0].names
        for name, found in (("trip", tripping), ("cycle", cycling))
    }
    assert first == {"trip": ("trip_and_restart",), "cycle": ("short_cycling_control",)}


@pytest.mark.parametrize("estimated", [False, True], ids=["measured", "estimated"])
@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("family", ["A", "B", "C"])
def test_a_healthy_pump_is_silent_for_eight_weeks(family: str, seed: int, estimated: bool) -> None:
    trial = Trial(family=family, seed=seed, interval_s=60, days=EIGHT_WEEKS_D, estimated=estimated)
    assert trial.episodes() == []


@pytest.mark.parametrize("interval_s", [1, 10])
def test_a_healthy_pump_is_silent_at_fast_polls(interval_s: int) -> None:
    trial = Trial(family="B", seed=3, interval_s=interval_s, days=3.0 if interval_s == 10 else 1.0)
    assert trial.episodes() == []


@pytest.mark.parametrize("kind", ["setpoint_change", "system_opened", "plugging", "glycol_filled", "off_bus"])
def test_what_is_no_fault_of_the_pump_is_no_fast_alarm(kind: FaultKind) -> None:
    severity = 0.02 if kind == "off_bus" else 0.25
    change = Fault(kind=kind, start_utc_ms=WATCH_MS + 3 * DAY_MS, severity=severity)
    trial = Trial(family="A", seed=2, interval_s=60, days=7.0, faults=(change,))
    assert trial.episodes() == []


@pytest.mark.parametrize("kind", ["air", "hunting", "closed_discharge"])
def test_day_sized_pieces_say_what_the_whole_says(kind: FaultKind) -> None:
    trial = replace(with_fault(kind, 60), days=4.0)
    frame, curve = trial.frame(), trial.curve()
    pieces = []
    for day in range(4):
        begin = WATCH_MS + day * DAY_MS
        piece = frame[(frame.index >= begin - LEAD_IN_S * 1000) & (frame.index < begin + DAY_MS)]
        said = fast_episodes(piece, curve, trial.facts)
        pieces.extend(one for one in said if one.last_utc_ms >= begin)
    end = int(frame.index[-1])
    assert join(pieces, end) == join(fast_findings(frame, curve, trial.facts), end)


@pytest.mark.parametrize(("family", "seed"), [("B", 0), ("C", 2)])
def test_an_estimated_head_that_the_loop_holds_is_not_taken_for_a_sensor(family: str, seed: int) -> None:
    trial = Trial(family=family, seed=seed, estimated=True)
    times = np.arange(START_UTC_MS, WATCH_MS, 300_000, dtype=np.int64)
    declared = replace(trial.facts, flow=Provenance.MEASURED, head=Provenance.MEASURED, interval_s=300.0)
    assert len(provenance_check(frame_of(trial.spec, seed, times), declared)) == 1
