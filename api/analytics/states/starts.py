"""Starts that come too often, and what makes the pump stop in between."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.facts import PumpFacts
from api.analytics.finding import Cause, Finding, Kind, Priority
from api.analytics.spans import DAY_MS, HOUR_MS
from api.analytics.states.own_curve import Floats
from api.analytics.states.saying import alone, episode
from api.analytics.states.starts_habit import most_by_chance
from api.analytics.states.starts_table import is_common_practice_alone, starts_limit_per_hour
from api.analytics.states.track import Mask, Stretch, Times, Track

NDArrayInt = NDArray[np.int64]

_TWICE_MS: Final = DAY_MS
"""Within it a count beyond the habit has to come twice: chance does it once, and so does a person."""
_FEWEST_STARTS: Final = 4
"""Fewer within an hour are no habit of anything: a person at the panel does as much. A limit counts them."""
_REGULAR_SPREAD: Final = 0.3
"""A controller repeats its cycle; a trip comes when it likes. Spread of the cycle over its mean."""
_ABRUPT_SHARE: Final = 0.6
"""A ramp passes through the lower speeds; a trip falls from above this share of the usual speed."""


def repeated_starts(track: Track, facts: PumpFacts, habit_per_hour: float | None = None) -> list[Finding]:
    """Return an episode for each time the starts within an hour went over what holds for this pump.

    That is the limit (stated, or that of the published table), or ``habit_per_hour`` [1/h], the most starts
    within an hour that :func:`~api.analytics.states.starts_habit.starts_habit` explains. What is within the
    limit has to go beyond the habit twice within a day, by other starts each time. A limit that is only
    common practice, since nobody stated one or the motor's size, gives way to a higher habit, and it too has
    to be passed twice: calls at random come to seven an hour once in a while. Before the habit is known such
    a limit proves nothing, so that only more than calls at random can come to at that limit is told, and for
    information alone.
    """
    times = start_times_utc_ms(track)
    limit = starts_limit_per_hour(facts)
    usual = _usual_per_hour(facts, limit, habit_per_hour)
    rates = _starts_in_the_last_hour(times)
    beyond_usual = (rates > usual) & (rates >= _FEWEST_STARTS)
    # One start repeats nothing, however low the limit.
    beyond_limit = (rates > max(limit, 1.0)) & (not is_common_practice_alone(facts))
    over = beyond_limit | _repeats(times, beyond_usual)
    return [
        _finding(track, facts, times[first : last + 1], limit, habit_per_hour)
        for first, last in _episodes(times, rates, np.flatnonzero(over))
    ]


def _usual_per_hour(facts: PumpFacts, limit: float, habit_per_hour: float | None) -> float:
    """Return the most starts an hour [1/h] that are nothing to speak of, were there no firm limit."""
    if not is_common_practice_alone(facts):
        return limit if habit_per_hour is None else habit_per_hour
    return float(most_by_chance(limit)) if habit_per_hour is None else max(habit_per_hour, limit)


def start_times_utc_ms(track: Track) -> Times:
    """Return a time for each start that was seen, by the shaft or by the drive's counter [ms].

    The counter sees the starts between two readings, so where the drive has one, it is believed.
    """
    same_piece = np.diff(track.piece, prepend=-1) == 0
    before = np.roll(track.running, 1)
    crossings = (track.running & ~before & same_piece).astype(np.int64)
    rises = np.nan_to_num(np.diff(track["starts"], prepend=np.nan))
    counted: NDArrayInt = np.where(same_piece & (rises > 0) & (rises < 60), rises, 0).astype(np.int64)
    by_counter = counted.sum() >= max(crossings.sum() - 1, 1)
    counts = counted if by_counter else crossings
    return np.repeat(track.time_utc_ms, counts)


def _starts_in_the_last_hour(times: Times) -> NDArrayInt:
    return np.arange(1, len(times) + 1) - np.searchsorted(times, times - HOUR_MS, side="right")


def _repeats(times: Times, beyond: Mask) -> Mask:
    """Return which of the starts beyond the habit had another the day before that counts none of theirs."""
    repeated = np.zeros(len(times), dtype=np.bool_)
    places = np.flatnonzero(beyond)
    at = times[places]
    repeated[places] = np.searchsorted(at, at - HOUR_MS, side="right") > np.searchsorted(at, at - _TWICE_MS)
    return repeated


def _episodes(times: Times, rates: NDArrayInt, over: NDArrayInt) -> list[tuple[int, int]]:
    """Return first and last start of each run of hours that were over the limit."""
    episodes: list[tuple[int, int]] = []
    for place in over:
        first, last = int(place - rates[place] + 1), int(place)
        if episodes and first <= episodes[-1][1] + 1:
            episodes[-1] = (episodes[-1][0], last)
        else:
            episodes.append((first, last))
    return episodes


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stops:
    """What the stops of an episode looked like: shares and a spread [-]."""

    with_fault: float
    abrupt: float
    cycle_spread: float
    cycle_s: float


def _finding(
    track: Track, facts: PumpFacts, times: Times, limit: float, habit_per_hour: float | None
) -> Finding:
    first, last = np.searchsorted(track.time_utc_ms, [times[0], times[-1]])
    stretch = Stretch(first=int(first), last=int(last))
    stops = _stops(track, stretch, times)
    most = float(_starts_in_the_last_hour(times).max())
    return episode(
        track,
        stretch,
        kind=Kind.REPEATED_STARTS,
        priority=_priority(facts, habit_per_hour, is_over_limit=most > limit),
        effect=most,
        effect_unit="1/h",
        evidence={
            "episodes": 1.0,
            "starts_counted": float(len(times)),
            "starts_in_an_hour": most,
            "starts_limit_per_hour": limit,
            **({} if habit_per_hour is None else {"starts_habit_per_hour": habit_per_hour}),
            "stops_with_fault_share": stops.with_fault,
            "cycle_s": stops.cycle_s,
            "cycle_spread": stops.cycle_spread,
        },
        causes=_causes(stops),
        checks=_checks(stops),
    )


def _priority(facts: PumpFacts, habit_per_hour: float | None, *, is_over_limit: bool) -> Priority:
    if habit_per_hour is None and is_common_practice_alone(facts):
        return Priority.INFORMATION
    return Priority.SOON if is_over_limit else Priority.PLANNED


def _stops(track: Track, stretch: Stretch, times: Times) -> _Stops:
    part = stretch.readings
    running = track.running[part]
    stopping = np.flatnonzero(running[:-1] & ~running[1:])
    cycles = np.diff(times) / 1000
    mean = float(cycles.mean())
    return _Stops(
        with_fault=_share_with_fault(track["fault_code"][part], running, stopping),
        abrupt=_share_abrupt(track["speed_rpm"][part], running, stopping),
        cycle_spread=float(cycles.std()) / mean if mean > 0 else np.inf,
        cycle_s=float(np.median(cycles)),
    )


def _share_with_fault(codes: Floats, running: np.ndarray, stopping: NDArrayInt) -> float:
    """Return the share of stops in which the drive reported a fault."""
    if len(stopping) == 0:
        return float(np.mean(np.nan_to_num(codes) > 0))
    faulty = np.concatenate([[0], np.cumsum(np.nan_to_num(codes) > 0)])
    starting = np.flatnonzero(~running[:-1] & running[1:]) + 1
    ends = np.append(starting, len(codes))
    until = ends[np.searchsorted(ends, stopping + 1).clip(max=len(ends) - 1)]
    return float(np.mean(faulty[until] - faulty[stopping] > 0))


def _share_abrupt(speed: Floats, running: np.ndarray, stopping: NDArrayInt) -> float:
    if len(stopping) == 0 or not running.any():
        return 0.0
    return float(np.mean(speed[stopping] > _ABRUPT_SHARE * np.nanmedian(speed[running])))


def _causes(stops: _Stops) -> tuple[Cause, ...]:
    if stops.with_fault >= 0.5:
        return (alone("trip_and_restart", weight=0.9), alone("short_cycling_control", weight=0.1))
    if stops.cycle_spread <= _REGULAR_SPREAD:
        return (alone("short_cycling_control", weight=0.8), alone("trip_and_restart", weight=0.2))
    return (alone("trip_and_restart", "short_cycling_control", weight=0.9), alone("supply_dips", weight=0.1))


def _checks(stops: _Stops) -> tuple[str, ...]:
    trip = ("read_drive_event_log", "supply_voltage", "motor_load_and_temperature")
    control = ("staging_differential", "start_stop_signal", "schedule")
    return (*trip, *control) if stops.with_fault >= 0.5 else (*control, *trip)
