"""Simulated pumps on trial: weeks to learn the own curve, then days at the poll rate with fast faults."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.curve import Curve, learn_curve
from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import Finding, Kind
from api.analytics.hours import hour_rows
from api.analytics.states import fast_episodes
from api.analytics.states.starts_habit import starts_habit
from collector.quantities import QUANTITY_NAMES
from simulator.plant import build_pump
from simulator.plant.spec import Fault, FaultKind, PumpSpec
from simulator.plant.timetable import Timetable
from tests.fleet.families import FAMILIES, draw
from tests.fleet_fast.families import FRESH, SEEN_FAST

START_UTC_MS: Final = 1_767_225_600_000
"""2026-01-01 00:00 UTC."""
DAY_MS: Final = 86_400_000
BASELINE_DAYS: Final = 28
BASELINE_STEP_S: Final = 300
ALL_FAMILIES: Final = FAMILIES | {family.name: family for family in SEEN_FAST + FRESH}
WATCH_MS: Final = START_UTC_MS + BASELINE_DAYS * DAY_MS

KIND_OF: Final[dict[FaultKind, Kind]] = {
    "air": Kind.AIR_BINDING,
    "dry_running": Kind.DRY_RUNNING,
    "closed_discharge": Kind.CLOSED_DISCHARGE,
    "hunting": Kind.HUNTING,
    "frozen_telemetry": Kind.FROZEN_READING,
    "trip_and_restart": Kind.REPEATED_STARTS,
    "short_cycling": Kind.REPEATED_STARTS,
    "drive_fault": Kind.DRIVE_FAULT,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A drawn pump that is watched for ``days`` after its baseline at ``interval_s``, with these faults."""

    family: str
    seed: int
    interval_s: int = 10
    days: float = 3.0
    estimated: bool = False
    faults: tuple[Fault, ...] = ()

    @property
    def spec(self) -> PumpSpec:
        """Return the pump with its timetable."""
        pump = draw(ALL_FAMILIES[self.family], self.seed, "estimated" if self.estimated else "measured")
        return replace(pump, faults=self.faults)

    @property
    def facts(self) -> PumpFacts:
        """Return what a person would have stated."""
        spec, how = self.spec, Provenance.ESTIMATED if self.estimated else Provenance.MEASURED
        return PumpFacts(
            pump=spec.name,
            speed=Provenance.MEASURED,
            power=Provenance.MEASURED,
            flow=how,
            head=how,
            rated_speed_rpm=spec.curve.rated_speed_rpm,
            rated_power_w=spec.curve.rated_power_w,
            interval_s=float(self.interval_s),
        )

    @property
    def watch_utc_ms(self) -> int:
        """Return when watching begins."""
        return START_UTC_MS + BASELINE_DAYS * DAY_MS

    def curve(self) -> Curve | None:
        """Return the curve learned from the weeks before."""
        return learn_curve(self.hours(), self.facts)

    def habit(self) -> float | None:
        """Return the habit of starts [1/h] learned from the weeks before."""
        hours = self.hours()
        return starts_habit(hours, learn_curve(hours, self.facts))

    def hours(self) -> pd.DataFrame:
        """Return the hours of the weeks before."""
        times = np.arange(START_UTC_MS, self.watch_utc_ms, BASELINE_STEP_S * 1000, dtype=np.int64)
        healthy = replace(self.spec, faults=())
        return hour_rows(frame_of(healthy, self.seed, times), self.facts)

    def frame(self) -> pd.DataFrame:
        """Return the readings of the watched days."""
        end = self.watch_utc_ms + int(self.days * DAY_MS)
        times = np.arange(self.watch_utc_ms, end, self.interval_s * 1000, dtype=np.int64)
        return frame_of(self.spec, self.seed, times)

    def episodes(self) -> list[Finding]:
        """Return the fast episodes of the watched days."""
        return fast_episodes(self.frame(), self.curve(), self.facts, starts_habit_per_hour=self.habit())


def frame_of(spec: PumpSpec, seed: int, times_utc_ms: np.ndarray) -> pd.DataFrame:
    """Return a simulated pump's readings, those that came over the bus."""
    signals = build_pump(spec, seed).advance(times_utc_ms)
    index = pd.Index(times_utc_ms, name="time_utc_ms")
    frame = pd.DataFrame({name: signals.reported[name] for name in QUANTITY_NAMES}, index=index)
    return frame[signals.on_bus]


def gas_spells(trial: Trial) -> list[tuple[int, int]]:
    """Return first and last time [ms] of each burst of gas, to the second."""
    times = np.arange(trial.watch_utc_ms, trial.watch_utc_ms + int(trial.days * DAY_MS), 1000, dtype=np.int64)
    strong = Timetable(trial.spec, trial.seed).gas(times) > 0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], strong, [False]]).astype(np.int8)))
    return [(int(times[a]), int(times[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def first_after(found: Sequence[Finding], kind: Kind, from_ms: int, to_ms: int) -> Finding | None:
    """Return the first episode of a kind that touches a span."""
    touching = [
        one for one in found if one.kind is kind and one.last_utc_ms >= from_ms and one.first_utc_ms <= to_ms
    ]
    return min(touching, key=lambda one: one.first_utc_ms, default=None)
