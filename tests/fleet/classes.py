"""Thirteen conditions of a pump whose onset nobody tells, and the one answer that the product gives.

A pump runs 74 days, read every five minutes while its curve is learned and every minute after; the fault
begins at a random hour of days 35 to 57. What is judged is what the product shows at the end: hour rows, the
slow findings and the fast ones; no template or threshold is fitted to the answer. Sizes are drawn evenly.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.curve import learn_curve
from api.analytics.drift import slow_findings
from api.analytics.finding import Finding, Kind, Priority
from api.analytics.hours import hour_rows
from api.analytics.spans import DAY_MS
from api.analytics.states import fast_findings
from api.analytics.states.starts_habit import starts_habit
from collector.quantities import QUANTITY_NAMES
from simulator.plant import build_pump
from simulator.plant.spec import Fault, PumpSpec
from tests.fleet.cases import START_UTC_MS, Case

LEARNING_DAYS: Final = 30
DAYS: Final = 74
SLOW_STEP_MS: Final = 300_000
FAST_STEP_MS: Final = 60_000

CLASSES: Final = (
    "healthy",
    "wear",
    "air",
    "dry_running",
    "closed_discharge",
    "hunting",
    "repeated_starts",
    "frozen_reading",
    "head_sensor",
    "flow_meter",
    "drag",
    "plugging",
    "system_opened",
)

CLASS_OF: Final = {
    Kind.HEAD_LOSS: "wear",
    Kind.AIR_BINDING: "air",
    Kind.DRY_RUNNING: "dry_running",
    Kind.CLOSED_DISCHARGE: "closed_discharge",
    Kind.HUNTING: "hunting",
    Kind.REPEATED_STARTS: "repeated_starts",
    Kind.FROZEN_READING: "frozen_reading",
    Kind.HEAD_SENSOR_SHIFT: "head_sensor",
    Kind.FLOW_METER_SHIFT: "flow_meter",
    Kind.MECHANICAL_DRAG: "drag",
    Kind.POWER_READING_SHIFT: "power_reading",
    Kind.RESISTANCE_RISE: "plugging",
    Kind.SYSTEM_CHANGE: "system_opened",
    Kind.FLUID_CHANGE: "fluid_changed",
}
UNDECIDED: Final = "undecided"
_ORDER: Final = (Priority.URGENT, Priority.SOON, Priority.PLANNED, Priority.INFORMATION)
_SENSORS: Final = ("flow_meter_reads_low", "head_sensor_reads_low", "head_sensor_gain_fell")


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """A pump of a family in one of the classes."""

    family: str
    seed: int
    truth: str

    def spec(self) -> PumpSpec:
        """Return the pump with its fault, drawn by the seed."""
        rng = np.random.default_rng([self.seed, CLASSES.index(self.truth)])
        pump = Case(family=self.family, seed=self.seed, days=DAYS).spec()
        onset = START_UTC_MS + int(rng.uniform(35, 57) * 24) * 3_600_000
        return replace(pump, faults=_faults(self, pump, onset, rng))


def _faults(condition: Condition, pump: PumpSpec, onset: int, rng: np.random.Generator) -> tuple[Fault, ...]:
    def signed(low: float, high: float) -> float:
        return float(rng.uniform(low, high) * rng.choice((-1.0, 1.0)))

    truth, seed = condition.truth, condition.seed
    if truth == "healthy":
        return ()
    if truth == "wear":
        kind = ("ring_leakage", "impeller_wear")[seed % 2]
        loss = float(rng.uniform(0.03, 0.08))
        asked = Case(family=condition.family, seed=seed, days=DAYS, fault=kind, severity=loss, at_duty=True)
        return (replace(asked.spec().faults[0], start_utc_ms=onset),)
    severities = {
        "head_sensor": ("head_gauge_shift", signed(0.03, 0.08)),
        "flow_meter": ("flow_meter_shift", signed(0.05, 0.12)),
        "drag": ("drag", float(rng.uniform(0.04, 0.1))),
        "plugging": ("plugging", float(rng.uniform(0.6, 1.5))),
        "system_opened": ("system_opened", float(rng.uniform(0.4, 0.6))),
    }
    if truth in severities:
        kind, severity = severities[truth]
        return (Fault(kind=kind, start_utc_ms=onset, severity=severity),)
    return (_episode(truth, pump, onset, rng),)


def _episode(truth: str, pump: PumpSpec, onset: int, rng: np.random.Generator) -> Fault:
    # An episode begins while the pump runs, four hours after its schedule starts it.
    day = onset // DAY_MS * DAY_MS
    begin = day + int((pump.control.on_from_h - pump.utc_offset_h + 4.0) * 3_600_000)
    hours = {"air": 72.0, "hunting": 3.0, "repeated_starts": 3.0, "frozen_reading": 3.0}.get(truth, 0.5)
    kind = {
        "frozen_reading": "frozen_telemetry",
        "repeated_starts": ("trip_and_restart", "short_cycling")[int(rng.integers(2))],
    }.get(truth, truth)
    sizes = {"air": (0.02, 0.08), "hunting": (0.04, 0.08)}.get(truth, (1.0, 1.0))
    # A swing must last more than three polls, or nobody could see its period.
    periods = {"air": (1400.0, 5400.0), "hunting": (200.0, 600.0)}.get(truth, (300.0, 500.0))
    return Fault(
        kind=kind,  # type: ignore[arg-type]
        start_utc_ms=begin,
        end_utc_ms=begin + int(hours * 3_600_000),
        severity=float(rng.uniform(*sizes)),
        period_s=float(rng.uniform(*periods)) if truth != "dry_running" else 1200.0,
        code=41 if kind == "trip_and_restart" else 0,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was true and what the product said."""

    condition: Condition
    said: str
    findings: tuple[Finding, ...]


def answer(condition: Condition) -> Answer:
    """Run one pump through the product's way and take its first finding for the answer."""
    facts = replace(Case(family=condition.family, seed=condition.seed, days=DAYS).facts(), interval_s=60.0)
    spec = condition.spec()
    facts = replace(facts, rated_speed_rpm=spec.curve.rated_speed_rpm, rated_power_w=spec.curve.rated_power_w)
    learning = START_UTC_MS + LEARNING_DAYS * DAY_MS
    times = np.concatenate(
        [
            np.arange(START_UTC_MS, learning, SLOW_STEP_MS, dtype=np.int64),
            np.arange(learning, START_UTC_MS + DAYS * DAY_MS, FAST_STEP_MS, dtype=np.int64),
        ]
    )
    reported = build_pump(spec, condition.seed).advance(times).reported
    frame = pd.DataFrame(
        {name: reported[name] for name in QUANTITY_NAMES}, index=pd.Index(times, name="time_utc_ms")
    )
    watched = frame[frame.index >= learning]
    hours = pd.concat(
        [
            hour_rows(frame[frame.index < learning], replace(facts, interval_s=300.0)),
            hour_rows(watched, facts),
        ]
    )
    curve = learn_curve(hours, facts)
    habit = starts_habit(hours, curve)
    found = slow_findings(hours, curve, facts)
    found += fast_findings(watched, curve, facts, starts_habit_per_hour=habit)
    found = [one for one in found if not _stands_still(condition, one)]
    return Answer(condition=condition, said=_said(found), findings=tuple(found))


def _stands_still(condition: Condition, finding: Finding) -> bool:
    # A pump too slow for its static head moves nothing: to say so is right, and no answer to what is asked.
    if finding.kind is not Kind.CLOSED_DISCHARGE or condition.truth == "closed_discharge":
        return False
    times = np.arange(finding.first_utc_ms, finding.last_utc_ms, FAST_STEP_MS, dtype=np.int64)
    spec = condition.spec()
    flow = build_pump(spec, condition.seed).advance(times).true["flow_m3h"]
    return bool(np.median(flow) < 0.03 * spec.curve.best_flow_m3h)


def _said(found: list[Finding]) -> str:
    telling = [finding for finding in found if finding.kind is not Kind.NOT_ASSESSABLE]
    # A drive's own code says that it stopped, not what was wrong; it stands for a class only alone.
    telling = [finding for finding in telling if finding.kind is not Kind.DRIVE_FAULT] or telling
    if not telling:
        return "healthy"
    first = min(telling, key=lambda finding: (_ORDER.index(finding.priority), finding.first_utc_ms))
    return UNDECIDED if _is_undecided(first) else CLASS_OF[first.kind]


def _is_undecided(finding: Finding) -> bool:
    """Whether the finding itself leaves open which of the classes it is."""
    if finding.kind in (Kind.POWER_SHIFT, Kind.DRIVE_FAULT):
        return True
    doubted = finding.kind is Kind.HEAD_LOSS and finding.causes
    return bool(doubted) and any(name in _SENSORS for name in finding.causes[0].names)
