"""Fault codes as the drive reports them: whatever is not zero, with what the manual says it means."""

from __future__ import annotations

from typing import Final

import numpy as np

from api.analytics.facts import PumpFacts
from api.analytics.finding import Cause, Finding, Kind, Priority
from api.analytics.states.saying import alone, episode
from api.analytics.states.track import Stretch, Track, stretches

_HOURS_AFTER_REPAIR: Final = 24.0
"""A fault within a day of work on the pump is first of all a question about that work."""
_LONG_STOP_H: Final = 8.0
"""A stop as long as a working day may have been a repair that nobody wrote down."""


def drive_faults(track: Track, facts: PumpFacts) -> list[Finding]:
    """Return an episode for each time the drive reported one fault code without a break."""
    codes = track["fault_code"]
    present = np.isfinite(codes) & (codes > 0)
    return [
        _fault(track, facts, stretch, code)
        for code in np.unique(codes[present])
        for stretch in stretches(track, present & (codes == code))
    ]


def _fault(track: Track, facts: PumpFacts, stretch: Stretch, code: float) -> Finding:
    stopped = not track.running[stretch.readings].all()
    repair_h = _hours_since_service(facts, int(track.time_utc_ms[stretch.first]))
    stop_h = _hours_of_last_stop(track, stretch)
    after_work = repair_h <= _HOURS_AFTER_REPAIR or stop_h >= _LONG_STOP_H
    evidence = {
        "fault_code": code,
        "episodes": 1.0,
        "stopped_by_fault": float(stopped),
        "meaning_known": float(int(code) in facts.fault_meanings),
    }
    if np.isfinite(repair_h) and repair_h <= _HOURS_AFTER_REPAIR:
        evidence["hours_since_service"] = repair_h
    if stop_h >= _LONG_STOP_H:
        evidence["hours_stopped_before"] = stop_h
    return episode(
        track,
        stretch,
        kind=Kind.DRIVE_FAULT,
        priority=Priority.URGENT if stopped else Priority.SOON,
        effect=code,
        effect_unit="1",
        evidence=evidence,
        causes=_causes(after_work),
        checks=_checks(after_work),
    )


def _causes(after_work: bool) -> tuple[Cause, ...]:
    if after_work:
        return (alone("left_by_recent_work", weight=0.6), alone("as_the_drive_manual_says", weight=0.4))
    return (alone("as_the_drive_manual_says", weight=1.0),)


def _checks(after_work: bool) -> tuple[str, ...]:
    first = ("recheck_recent_work",) if after_work else ()
    return (*first, "read_drive_manual_for_code", "read_drive_event_log", "supply_voltage")


def _hours_since_service(facts: PumpFacts, time_utc_ms: int) -> float:
    before = [event.time_utc_ms for event in facts.events if event.time_utc_ms <= time_utc_ms]
    return (time_utc_ms - max(before)) / 3.6e6 if before else np.inf


def _hours_of_last_stop(track: Track, stretch: Stretch) -> float:
    """Return how long the shaft had stood before the run in, or at whose start, the code came [h]."""
    running = np.flatnonzero(track.running[: stretch.first + 1])
    standing = np.flatnonzero(~track.running[: stretch.first + 1])
    if len(running) == 0 or len(standing) == 0:
        return 0.0
    last_stand = int(standing[-1])
    ran_before = running[running < last_stand]
    if len(ran_before) == 0:
        return 0.0
    return float(track.time_utc_ms[last_stand] - track.time_utc_ms[ran_before[-1]]) / 3.6e6
