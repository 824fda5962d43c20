"""Speed that swings to and fro: a control loop that hunts."""

from __future__ import annotations

from typing import Final

import numpy as np

from api.analytics.finding import Finding, Kind, Priority
from api.analytics.states.own_curve import Floats
from api.analytics.states.saying import alone, episode
from api.analytics.states.track import Mask, Stretch, Track, held

_MEAN_S: Final = 20 * 60.0
"""Speed is compared with its mean over this long; a slower swing is a change of demand."""
_LOCAL_S: Final = 10 * 60.0
_HOLD_S: Final = 27 * 60.0
"""Half an hour, less what the local window loses at both ends."""
_SWING: Final = 0.03
"""Speed swings by this share of its mean to each side (prototype)."""
_FEWEST_HALVES: Final = 4
"""Half periods between the first and the last turn: three swings in half an hour are no demand of people."""
_IRREGULAR: Final = 0.25
"""Spread of the half periods over their mean above which it is restless demand, not a loop."""
SLOWEST_SWING_S: Final = 600.0
"""A swing slower than ten minutes is a change of demand, whoever makes it."""
FEWEST_READINGS_A_SWING: Final = 3.0
"""A swing with fewer readings a period is not sure to show: near one and two the readings may all fall where
it is small or seem irregular. It may show, and then with a longer period than its own (sampling theorem)."""
_SAMPLING_SPREAD: Final = 1.0 / 6.0
"""Variance that reading at intervals adds to a half period, in squared intervals: two uniform errors."""


def hunting(track: Track) -> list[Finding]:
    """Return the episodes in which speed swung by 3 % or more, regularly, for half an hour or longer.

    ``period_s`` is that of the readings; a swing faster than two of them apart seems slower than it is.
    """
    if len(track) < 3 * _FEWEST_HALVES:
        return []
    swing = _swing(track, _count(track, _MEAN_S))
    count = _count(track, _LOCAL_S)
    share = _around(track.running.astype(np.float64), count)
    amplitude = np.sqrt(2.0 * _around(swing**2, count) / np.maximum(share, 1.0))
    restless = track.running & (amplitude >= _SWING)
    turns = _turns(swing)
    return [
        _finding(track, stretch, swing, halves)
        for stretch in held(track, restless, _HOLD_S)
        if _is_a_loop(halves := _half_periods_s(track, stretch, turns), track.interval_s)
    ]


def _count(track: Track, span_s: float) -> int:
    return max(round(span_s / track.interval_s), 2)


def _half_periods_s(track: Track, stretch: Stretch, turns: Mask) -> Floats:
    # The first and the last turn may belong to what was before and after.
    places = np.flatnonzero(turns[stretch.readings])[1:-1] + stretch.first
    halves: Floats = np.diff(track.time_utc_ms[places]) / 1000
    return halves


def _is_a_loop(halves_s: Floats, interval_s: float) -> bool:
    if len(halves_s) < _FEWEST_HALVES or 2 * halves_s.mean() > SLOWEST_SWING_S:
        return False
    allowed = (_IRREGULAR * halves_s.mean()) ** 2 + _SAMPLING_SPREAD * interval_s**2
    return bool(halves_s.var() <= allowed)


def _swing(track: Track, count: int) -> Floats:
    """Return speed about its mean over the window around each reading, as a share of that mean, (n,)."""
    speed = np.where(track.running, np.nan_to_num(track["speed_rpm"]), 0.0)
    present = (speed > 0).astype(np.float64)
    mean = _around(speed, count) / np.maximum(_around(present, count), 1.0)
    return np.where(present > 0, speed / np.maximum(mean, 1e-9) - 1.0, 0.0)


def _around(values: Floats, count: int) -> Floats:
    """Return the sum over the window centred on each value, shorter at both ends."""
    sums: Floats = np.concatenate([[0.0], np.cumsum(values)])
    places = np.arange(len(values))
    return sums[np.minimum(places + count // 2 + 1, len(values))] - sums[np.maximum(places - count // 2, 0)]


def _turns(swing: Floats) -> Mask:
    """Return where speed crossed to the other side by half the least swing, (n,)."""
    side = np.where(swing > _SWING / 2, 1, np.where(swing < -_SWING / 2, -1, 0))
    places = np.flatnonzero(side)
    turned = np.zeros(len(swing), dtype=np.bool_)
    turned[places[1:]] = side[places[1:]] != side[places[:-1]]
    return turned


def _finding(track: Track, stretch: Stretch, swing: Floats, halves_s: Floats) -> Finding:
    amplitude = float(np.sqrt(2.0 * np.mean(swing[stretch.readings] ** 2)))
    mean_rpm = float(np.nanmean(track["speed_rpm"][stretch.readings]))
    return episode(
        track,
        stretch,
        kind=Kind.HUNTING,
        priority=Priority.PLANNED,
        effect=amplitude * mean_rpm,
        effect_unit="rpm",
        evidence={
            "episodes": 1.0,
            "speed_swing_share": amplitude,
            "period_s": 2.0 * float(np.mean(halves_s)),
            "speed_rpm": mean_rpm,
        },
        causes=(
            alone("loop_too_fast", weight=0.6),
            alone("sensor_place_or_noise", weight=0.25),
            alone("pumps_or_valves_fight", weight=0.15),
        ),
        checks=("loop_tuning", "sensor_location", "valve_authority"),
    )
