"""Speed that swings to and fro: a control loop that hunts."""

from __future__ import annotations

from typing import Final

import numpy as np

from api.analytics.finding import Finding, Kind, Priority
from api.analytics.states.own_curve import Floats
from api.analytics.states.saying import alone, episode
from api.analytics.states.track import Mask, Stretch, Track, held

_WINDOW_S: Final = 30 * 60.0
_SWING: Final = 0.03
"""Speed swings by this share of its mean to each side (prototype)."""
_FEWEST_TURNS: Final = 8
"""Half periods within the window: four whole swings in half an hour are no demand of people."""
_IRREGULAR: Final = 0.6
"""Spread of the half periods over their mean above which it is restless demand, not a loop."""


def hunting(track: Track) -> list[Finding]:
    """Return the episodes in which speed swung by 3 % or more, regularly, for half an hour or longer."""
    count = max(round(_WINDOW_S / track.interval_s), 1)
    if count < 2 * _FEWEST_TURNS or len(track) < count:
        return []
    swing = _swing(track, count)
    turns = _turns(swing)
    steady = _in_window(track.running.astype(np.float64), count) >= count * 0.95
    steady &= _same_piece(track, count)
    amplitude = np.sqrt(2.0 * np.maximum(_in_window(swing**2, count) / count, 0.0))
    per_window = _in_window(turns.astype(np.float64), count)
    ends = steady & (amplitude >= _SWING) & (per_window >= _FEWEST_TURNS)
    return [
        finding
        for stretch in held(track, _reaching_back(ends, count), _WINDOW_S * 0.98)
        if (finding := _finding(track, stretch, swing, turns)) is not None
    ]


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


def _in_window(values: Floats, count: int) -> Floats:
    """Return the sum over the ``count`` values that end at each place."""
    sums: Floats = np.concatenate([[0.0], np.cumsum(values)])
    places = np.arange(1, len(values) + 1)
    return sums[places] - sums[np.maximum(places - count, 0)]


def _same_piece(track: Track, count: int) -> Mask:
    places = np.arange(len(track)) - count + 1
    same: Mask = track.piece[np.maximum(places, 0)] == track.piece
    return same & (places >= 0)


def _turns(swing: Floats) -> Mask:
    """Return where speed crossed to the other side by half the least swing, (n,)."""
    side = np.where(swing > _SWING / 2, 1, np.where(swing < -_SWING / 2, -1, 0))
    places = np.flatnonzero(side)
    turned = np.zeros(len(swing), dtype=np.bool_)
    turned[places[1:]] = side[places[1:]] != side[places[:-1]]
    return turned


def _reaching_back(ends: Mask, count: int) -> Mask:
    """Return the readings that lie in any window that ends where ``ends`` holds."""
    edges = np.zeros(len(ends) + 1, dtype=np.int64)
    places = np.flatnonzero(ends)
    np.add.at(edges, np.maximum(places - count + 1, 0), 1)
    np.add.at(edges, places + 1, -1)
    return np.cumsum(edges[:-1]) > 0


def _finding(track: Track, stretch: Stretch, swing: Floats, turns: Mask) -> Finding | None:
    places = np.flatnonzero(turns[stretch.readings]) + stretch.first
    halves = np.diff(track.time_utc_ms[places]) / 1000
    if len(halves) == 0 or halves.std() > _IRREGULAR * halves.mean():
        return None
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
            "period_s": 2.0 * float(np.mean(halves)),
            "speed_rpm": mean_rpm,
        },
        causes=(
            alone("loop_too_fast", weight=0.6),
            alone("sensor_place_or_noise", weight=0.25),
            alone("pumps_or_valves_fight", weight=0.15),
        ),
        checks=("loop_tuning", "sensor_location", "valve_authority"),
    )
