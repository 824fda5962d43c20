"""Simulated pumps on which somebody works: the fault is done away with then, or nothing was done at all.

What is judged is what the product shows so many days after the work: hour rows, its own curve, and the
findings that its own analysis made of them. The simulator says what was true.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.curve import learn_curve
from api.analytics.drift import slow_findings
from api.analytics.facts import ServiceEvent
from api.analytics.finding import Finding
from api.analytics.hours import hour_rows
from api.analytics.repair import WorkEffect, Works, effect_of_work
from api.analytics.spans import DAY_MS
from api.analytics.states import fast_findings
from collector.quantities import QUANTITY_NAMES
from simulator.plant import build_pump
from simulator.plant.spec import Fault, FaultKind, PumpSpec
from tests.fleet.cases import ONSET_DAY, START_UTC_MS, Case

WORK_DAY: Final = 80
HOUR_MS: Final = 3_600_000
WORKS: Final[dict[str, tuple[FaultKind, float, str]]] = {
    "ring": ("ring_leakage", 0.05, "ring_replaced"),
    "impeller": ("impeller_wear", 0.04, "impeller_changed"),
    "drag": ("drag", 0.09, "bearing_replaced"),
    "strainer": ("plugging", 1.2, "strainer_cleaned"),
    "air": ("air", 0.05, "vented"),
}
"""By trial: the fault, its size, and the work that is recorded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A pump with a fault of ``WORKS`` and work that does away with it, or not (``is_healed``)."""

    work: str
    family: str
    seed: int
    is_healed: bool

    @property
    def event(self) -> ServiceEvent:
        """Return what is recorded: in the morning of the day, at an hour that follows the seed."""
        at = START_UTC_MS + WORK_DAY * DAY_MS + (8 + self.seed % 9) * HOUR_MS
        return ServiceEvent(time_utc_ms=at, kind=WORKS[self.work][2])

    def case(self) -> Case:
        """Return the same pump as a case of the fleet."""
        fault, severity, _ = WORKS[self.work]
        return Case(
            family=self.family, seed=self.seed, days=110, fault=fault, severity=severity, at_duty=True
        )

    def spec(self) -> PumpSpec:
        """Return the pump with its fault, which ends with the work or never."""
        pump = self.case().spec()
        end = self.event.time_utc_ms if self.is_healed else 2**62
        return replace(pump, faults=tuple(self._fault(each, end) for each in pump.faults))

    def _fault(self, fault: Fault, end_utc_ms: int) -> Fault:
        if self.work != "air":
            return replace(fault, end_utc_ms=end_utc_ms)
        # Gas is told from single readings, so it comes late, and the days before need not be read often.
        start = self.event.time_utc_ms - 3 * DAY_MS
        return replace(fault, start_utc_ms=start, end_utc_ms=end_utc_ms, period_s=2400.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What the product says so many days after the work."""

    trial: Trial
    after_days: float
    effect: WorkEffect

    @property
    def verdicts(self) -> tuple[str, ...]:
        """Return the verdicts of the findings that stood."""
        return tuple(each.verdict.value for each in self.effect.answered)


def judged(trial: Trial, after_days: tuple[float, ...]) -> list[Judged]:
    """Run a trial and judge it so many days after the work."""
    hours, fast = _hours(trial, max(after_days))
    facts = replace(trial.case().facts(), events=(trial.event,))
    curve = learn_curve(hours, facts)
    found = []
    for days in after_days:
        end = trial.event.time_utc_ms + int(days * DAY_MS)
        seen = hours[hours.index < end]
        findings: list[Finding] = slow_findings(seen, curve, facts)
        findings += [_until(each, end) for each in fast if each.first_utc_ms < end]
        near = seen[seen.index >= trial.event.time_utc_ms - 29 * DAY_MS]
        works = Works(work=trial.event, every=(trial.event,))
        found.append(
            Judged(trial=trial, after_days=days, effect=effect_of_work(near, curve, facts, works, findings))
        )
    return found


def _until(finding: Finding, end_utc_ms: int) -> Finding:
    return replace(finding, last_utc_ms=min(finding.last_utc_ms, end_utc_ms))


def _hours(trial: Trial, last_days: float) -> tuple[pd.DataFrame, list[Finding]]:
    facts = trial.case().facts()
    end = trial.event.time_utc_ms + int(last_days * DAY_MS)
    often = trial.event.time_utc_ms - 4 * DAY_MS if trial.work == "air" else end
    frame = _readings(trial, START_UTC_MS, often, 600_000, end)
    hours = hour_rows(frame, facts)
    if trial.work != "air":
        return hours, []
    minutes = _readings(trial, often, end, 60_000, end)
    by_minute = replace(facts, interval_s=60.0)
    curve = learn_curve(hours, facts)
    both = pd.concat([hours[hours.index < often], hour_rows(minutes, by_minute)])
    return both, fast_findings(minutes, curve, by_minute)


def _readings(trial: Trial, start_utc_ms: int, stop_utc_ms: int, step_ms: int, end: int) -> pd.DataFrame:
    times = np.arange(start_utc_ms, min(stop_utc_ms, end), step_ms, dtype=np.int64)
    reported = build_pump(trial.spec(), trial.seed).advance(times).reported
    index = pd.Index(times, name="time_utc_ms")
    return pd.DataFrame({name: reported[name] for name in QUANTITY_NAMES}, index=index)


def onset_days_before() -> int:
    """Return how long the fault stood before the work [d]."""
    return WORK_DAY - ONSET_DAY
