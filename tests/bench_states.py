"""Fast faults on simulated pumps: found how soon, how often, and how often wrongly.

Run: ``python tests/bench_states.py --families fresh`` (``--help`` tells how to run more, fewer, or parts).
``fresh`` are the families of ``tests/fleet_fast`` that no threshold was tuned on, ``seen`` all that were
looked at in earlier runs and may have been tuned on since (A to C, K to P); letters pick some of both.

What truth and detector share: the affinity laws, that gas takes from head and power at once and unsteadily,
and that a pump without flow takes its zero-flow power. A closed discharge said of a pump that in truth moved
nothing, being too slow for its static head, is counted apart: right about the water, wrong about a valve.
What is said for information alone is no alarm and finds no fault. Times to finding are from the fault's
onset to the reading with which the product says so, found by cutting the readings off. Intervals are exact,
95 % (Clopper-Pearson; Garwood for rates, one-sided upper bound).
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import defaultdict
from dataclasses import dataclass, replace
from multiprocessing import Pool
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))

from api.analytics.curve import Curve
from api.analytics.facts import Provenance
from api.analytics.finding import Finding, Kind, Priority
from api.analytics.states import fast_episodes, join, provenance_check
from api.analytics.states.hunting import FEWEST_READINGS_A_SWING
from simulator.plant import build_pump
from simulator.plant.spec import Fault, FaultKind
from tests.api.analytics.states.trials import (
    DAY_MS,
    KIND_OF,
    START_UTC_MS,
    WATCH_MS,
    Trial,
    first_after,
    frame_of,
    gas_spells,
)
from tests.fleet.families import FAMILIES
from tests.fleet.intervals import rate, share
from tests.fleet_fast.families import FRESH, SEEN_FAST

HOUR_MS = 3_600_000
LOOK_BACK_MS = 27 * HOUR_MS
WITHIN_S: dict[FaultKind, tuple[int, ...]] = {
    "dry_running": (20, 30, 40, 60, 120),
    "closed_discharge": (90, 100, 110, 120, 150, 180, 300),
    "air": (90, 120, 150, 180, 210, 240, 270, 300, 420, 600),
    "hunting": (1500, 1800, 2100, 3600),
    "frozen_telemetry": (1800, 1860, 2400, 3600),
    "trip_and_restart": (1200, 1800, 3600, 7200),
    "short_cycling": (1200, 1800, 3600, 7200),
}
FaultyResult = tuple[bool, list[tuple[str, float]], list[str]]
HealthyResult = tuple[float, list[str], int, int]
"""Pump-years, wrong alarms, alarms of a pump that is too slow for its static head, words for information."""
HARMLESS: tuple[FaultKind, ...] = (
    "setpoint_change", "system_opened", "plugging", "glycol_filled", "ring_leakage", "off_bus",
)  # fmt: skip


def timetable(seed: int, first_h: float) -> tuple[Fault, ...]:
    """Return three bursts of gas and one of each other fast fault, at hours when any schedule runs."""
    random = np.random.default_rng([seed, 20])

    def at(day: float, kind: FaultKind, minutes: float, **more: float) -> Fault:
        begin = WATCH_MS + int((day + first_h / 24) * DAY_MS) + int(random.integers(0, 2 * HOUR_MS))
        return Fault(kind=kind, start_utc_ms=begin, end_utc_ms=begin + int(minutes * 60_000), **more)  # type: ignore[arg-type]

    periods = random.uniform(10.5, 40.0, 3) / 0.45
    gas = [
        at(1.0 + day, "air", period, period_s=period * 60, severity=float(random.uniform(0.02, 0.08)))
        for day, period in enumerate(periods)
    ]
    swing = {"severity": float(random.uniform(0.04, 0.08)), "period_s": float(random.uniform(60, 400))}
    return (
        *gas,
        at(4.0, "closed_discharge", 20),
        at(5.0, "dry_running", 20, period_s=600.0, code=41),
        at(6.0, "hunting", 60, **swing),
        at(7.0, "frozen_telemetry", 100),
        at(8.0, "trip_and_restart", 120, period_s=float(random.uniform(300, 500)), code=41),
        at(10.0, "short_cycling", 120, period_s=float(random.uniform(300, 500))),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """What a pump showed before it is watched: its own curve and its habit of starts [1/h]."""

    curve: Curve | None
    habit: float | None

    @classmethod
    def of(cls, trial: Trial) -> Learned:
        """Return what the trial's baseline shows."""
        return cls(curve=trial.curve(), habit=trial.habit())

    def episodes(self, frame: pd.DataFrame, trial: Trial) -> list[Finding]:
        """Return the fast episodes in these readings."""
        return fast_episodes(frame, self.curve, trial.facts, starts_habit_per_hour=self.habit)


def time_to_finding(
    frame: pd.DataFrame, learned: Learned, trial: Trial, event: tuple[FaultKind, int, int]
) -> float:
    """Return the shortest of the listed times after onset with which the kind is found [s], inf if none."""
    kind, onset, end = event
    window = frame[(frame.index > onset - LOOK_BACK_MS) & (frame.index <= end + HOUR_MS)]
    for seconds in WITHIN_S[kind]:
        cut = onset + seconds * 1000
        said = alarms(learned.episodes(window[window.index <= cut], trial))
        if first_after(said, KIND_OF[kind], onset - 60_000, cut):
            return float(seconds)
    return math.inf


def alarms(found: list[Finding]) -> list[Finding]:
    """Return what calls for somebody."""
    return [one for one in found if one.priority is not Priority.INFORMATION]


def events_of(trial: Trial) -> list[tuple[FaultKind, int, int]]:
    others = [(one.kind, one.start_utc_ms, one.end_utc_ms) for one in trial.faults if one.kind != "air"]
    return [*(("air", first, last) for first, last in gas_spells(trial)), *others]  # type: ignore[list-item]


def faulty(work: tuple[str, int, bool, int]) -> FaultyResult:
    """Return for one pump its provenance, each fault's time to finding, and what else was said."""
    family, seed, estimated, interval_s = work
    trial = Trial(family=family, seed=seed, interval_s=interval_s, days=11.5, estimated=estimated)
    begins = trial.spec.control.on_from_h - trial.spec.utc_offset_h + 4.0
    trial = replace(trial, faults=timetable(seed, begins))
    frame, learned = trial.frame(), Learned.of(trial)
    events = events_of(trial)
    times = [(row_of(trial, event[0]), time_to_finding(frame, learned, trial, event)) for event in events]
    found = alarms(learned.episodes(frame, trial))
    stray = [
        f"{trial.spec.name}{'e' if estimated else 'm'}:{one.kind}"
        for one in found
        if one.kind is not Kind.DRIVE_FAULT
        and not stands_still(trial, one)
        and not any(
            KIND_OF[kind] is one.kind
            and one.first_utc_ms <= last + HOUR_MS
            and one.last_utc_ms >= first - 60_000
            for kind, first, last in events
        )
    ]
    return estimated, times, stray


def row_of(trial: Trial, kind: FaultKind) -> str:
    """Return the row in which a fault is counted: a swing that pages call "not watched" has its own."""
    periods = [fault.period_s for fault in trial.faults if fault.kind == kind == "hunting"]
    shortest_s = FEWEST_READINGS_A_SWING * trial.interval_s
    return "hunting, not watched" if periods and min(periods) < shortest_s else kind


def stands_still(trial: Trial, finding: Finding) -> bool:
    """Return whether in truth no water moved: a speed too low for the static head is a closed discharge."""
    times = np.arange(finding.first_utc_ms, finding.last_utc_ms, trial.interval_s * 1000, dtype=np.int64)
    flow = build_pump(trial.spec, trial.seed).advance(times).true["flow_m3h"]
    best = trial.spec.curve.best_flow_m3h
    return finding.kind is Kind.CLOSED_DISCHARGE and bool(np.median(flow) < 0.03 * best)


def healthy(work: tuple[str, int, bool, int, float]) -> HealthyResult:
    """Return for a pump without a fast fault the pump-years watched and how often what was said of it."""
    family, seed, estimated, interval_s, days = work
    trial = Trial(family=family, seed=seed, interval_s=interval_s, days=days, estimated=estimated)
    kind = HARMLESS[seed % len(HARMLESS)]
    severity = {"off_bus": 0.02, "ring_leakage": 0.05}.get(kind, 0.2)
    change = Fault(kind=kind, start_utc_ms=WATCH_MS + int(days / 2 * DAY_MS), severity=severity)
    trial = replace(trial, faults=(change,))
    everything = Learned.of(trial).episodes(trial.frame(), trial)
    episodes = alarms(everything)
    told = join(one for one in everything if one not in episodes)
    said = join(one for one in episodes if not stands_still(trial, one))
    too_slow = join(one for one in episodes if stands_still(trial, one))
    how = "e" if estimated else "m"
    return days / 365.25, [f"{trial.spec.name}{how}:{one.kind}" for one in said], len(too_slow), len(told)


def declared(work: tuple[str, int, bool]) -> tuple[bool, bool]:
    """Return whether a right and whether a wrong declaration was contradicted by four weeks of readings."""
    family, seed, estimated = work
    trial = Trial(family=family, seed=seed, estimated=estimated)
    times = np.arange(START_UTC_MS, WATCH_MS, 300_000, dtype=np.int64)
    frame = frame_of(trial.spec, seed, times)
    right = replace(trial.facts, interval_s=300.0)
    other = Provenance.MEASURED if estimated else Provenance.ESTIMATED
    wrong = replace(right, flow=other, head=other)
    return bool(provenance_check(frame, right)), bool(provenance_check(frame, wrong))


def share_words(hits: int, count: int) -> str:
    """Return a share with its exact interval [%]."""
    part = share(hits, count)
    return f"{hits}/{count} = {part.value:6.1%} ({part.low:.1%} to {part.high:.1%})"


def families_named(word: str) -> list[str]:
    """Return the names of the families that a word stands for; leaves with a line where there are none."""
    if word == "fresh" and not FRESH:
        sys.exit("No fresh families: FRESH in tests/fleet_fast/families.py is empty; add some, or use seen.")
    named = {"fresh": [one.name for one in FRESH], "seen": [*FAMILIES, *(one.name for one in SEEN_FAST)]}
    known = [*FAMILIES, *(one.name for one in SEEN_FAST + FRESH)]
    if unknown := [name for name in named.get(word, list(word)) if name not in known]:
        sys.exit(f"--families: expected fresh, seen or letters out of {''.join(known)}, not {unknown[0]!r}.")
    return named.get(word, list(word))


def pumps(families: list[str], count: int) -> list[tuple[str, int, bool]]:
    return [(family, seed, how) for family in families for seed in range(count) for how in (False, True)]


def report_faults(results: list[FaultyResult], interval_s: int) -> None:
    times = defaultdict(list)
    for estimated, found, _ in results:
        for kind, seconds in found:
            times[kind, estimated].append(seconds)
    print(f"\nTime to finding at {interval_s} s polls [s]")
    for (kind, estimated), values in sorted(times.items()):
        how = "estimated" if estimated else "measured "
        middle, late = np.quantile(values, [0.5, 0.95], method="higher")
        print(f"  {kind:20s} {how} median {middle:6.0f}  p95 {late:6.0f}  {_within(kind, values)}")
    stray = [word for _, _, words in results for word in words]
    print(f"  said beside the fault: {len(stray)} {stray[:12]}", flush=True)


def _within(row: str, values: list[float]) -> str:
    last = {str(kind): (seconds[-1],) for kind, seconds in WITHIN_S.items()}
    limits = last | {"dry_running": (30, 60), "closed_discharge": (120, 180), "air": (300,)}
    return "; ".join(
        f"within {limit} s {share_words(sum(v <= limit for v in values), len(values))}"
        for limit in limits[row.partition(",")[0]]
    )


def report_healthy(results: list[HealthyResult], interval_s: int) -> None:
    years = sum(result[0] for result in results)
    words = [word for result in results for word in result[1]]
    slow = sum(result[2] for result in results)
    print(f"\nFalse fast alarms at {interval_s} s polls: {len(words)} in {years:.1f} pump-years,", end=" ")
    print(f"upper 95 % bound {rate(len(words), years).high:.3f} a pump-year {words[:12]}")
    print(f"  and {slow} closed discharges of pumps too slow for their static head;", end=" ")
    print(f"upper 95 % bound of all {rate(len(words) + slow, years).high:.3f}")
    print(f"  said for information: {sum(result[3] for result in results)}", flush=True)


def report_provenance(results: list[tuple[bool, bool]]) -> None:
    print("\nProvenance over four weeks")
    print(f"  wrong declaration noticed {share_words(sum(wrong for _, wrong in results), len(results))}")
    print(
        f"  right declaration doubted {share_words(sum(right for right, _ in results), len(results))}",
        flush=True,
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Time to finding and false alarms of the fast rules.")
    parser.add_argument("--families", default="fresh", help="fresh, seen, or letters such as NOP")
    parser.add_argument("--pumps", type=int, default=20, help="pumps a family with faults, each way")
    parser.add_argument("--healthy", type=int, default=32, help="healthy pumps a family, each way")
    parser.add_argument("--days-10", type=float, default=30.0, help="healthy days a pump at 10 s polls")
    parser.add_argument("--days-60", type=float, default=120.0, help="healthy days a pump at 60 s polls")
    parser.add_argument("--workers", type=int, default=2, help="processes at a time")
    parser.add_argument("--parts", default="faults,provenance,healthy", help="which of these three to run")
    words = parser.parse_args()
    families, parts = families_named(words.families), words.parts.split(",")
    faulty_pumps, healthy_pumps = (pumps(families, count) for count in (words.pumps, words.healthy))
    with Pool(words.workers) as pool:
        if "faults" in parts:
            for interval_s in (10, 60):
                work = [(*pump, interval_s) for pump in faulty_pumps]
                report_faults(pool.map(faulty, work, 1), interval_s)
        if "provenance" in parts:
            report_provenance(pool.map(declared, faulty_pumps, 1))
        if "healthy" in parts:
            for interval_s, days in ((60, words.days_60), (10, words.days_10)):
                spans = [(*pump, interval_s, days) for pump in healthy_pumps]
                report_healthy(pool.map(healthy, spans, 1), interval_s)


if __name__ == "__main__":
    main()
