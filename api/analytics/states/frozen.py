"""Readings that stand still while the pump runs: the drive answers, but with yesterday's news."""

from __future__ import annotations

from typing import Final

import numpy as np

from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding, Kind, Priority
from api.analytics.states.own_curve import Floats
from api.analytics.states.saying import alone, episode
from api.analytics.states.track import Mask, Stretch, Track, seconds, stretches

CHANNELS: Final = ("speed_rpm", "power_w", "flow_m3h", "head_m")
_SHORTEST_S: Final = 30 * 60.0
_FEWEST_RESTS: Final = 10
"""A few equal readings in coarse steps are chance, however far apart they are."""
_TIMES_HABIT: Final = 3.0
"""Coarse steps at constant speed repeat by nature: a freeze is several times the longest such rest."""
_FEWEST_CHANNELS: Final = 3
_HABIT_READINGS: Final = 60
_HABIT_S: Final = 24 * 3600.0
_UNKNOWN_REST_S: Final = 8 * 3600.0
"""Where the habit is not known: no pump's four readings rest for three times as long (common practice)."""
_ROUNDING: Final = 1e-9
"""The mean of equal values differs from them in the last digits."""


def frozen_readings(track: Track, facts: PumpFacts) -> list[Finding]:
    """Return the stretches in which no channel moved, for longer than the pump's readings ever rest.

    The habit is that of the day before (``_HABIT_S``). Where too little of it is known, only a whole day
    without a change is a freeze, so that one which fills the frame goes on being seen.
    """
    reported = [name for name in CHANNELS if np.isfinite(track[name]).any()]
    if len(reported) < _FEWEST_CHANNELS or len(track) < 2:
        return []
    still = _still(track, reported)
    return [
        _finding(track, stretch, len(reported), rest_s)
        for stretch in map(_with_the_reading_before, stretches(track, still))
        if seconds(track, stretch) >= max(_SHORTEST_S, _FEWEST_RESTS * track.interval_s)
        and seconds(track, stretch) >= _TIMES_HABIT * (rest_s := _longest_rest_s(track, still, stretch))
    ]


def _still(track: Track, reported: list[str]) -> Mask:
    """Return where every reported channel equals the reading before, (n,), within a piece and a run."""
    still = np.zeros(len(track), dtype=np.bool_)
    still[1:] = track.running[1:] & track.running[:-1] & (np.diff(track.piece) == 0)
    for name in reported:
        still[1:] &= _equal(track[name][1:], track[name][:-1])
    return still


def _equal(values: Floats, before: Floats) -> Mask:
    same = np.abs(values - before) <= _ROUNDING * np.abs(values)
    return same | (np.isnan(values) & np.isnan(before))


def _with_the_reading_before(still: Stretch) -> Stretch:
    """Return the stretch with the reading added that the others equal; two rests in a row stay two."""
    return Stretch(first=still.first - 1, last=still.last)


def _longest_rest_s(track: Track, still: Mask, stretch: Stretch) -> float:
    """Return the longest rest in the day before the stretch [s]; if too little ran, a third of a day."""
    begin = track.time_utc_ms[stretch.first] - int(_HABIT_S * 1000)
    first = int(np.searchsorted(track.time_utc_ms, begin))
    before = np.zeros(len(track), dtype=np.bool_)
    before[first : stretch.first] = True
    if np.count_nonzero(before & track.running) < _HABIT_READINGS:
        return _UNKNOWN_REST_S
    rests = [seconds(track, rest) + track.interval_s for rest in stretches(track, still & before)]
    return max(rests, default=0.0)


def _finding(track: Track, stretch: Stretch, channels: int, rest_s: float) -> Finding:
    return episode(
        track,
        stretch,
        kind=Kind.FROZEN_READING,
        priority=Priority.SOON,
        effect=seconds(track, stretch) / 3600,
        effect_unit="h",
        evidence={
            "episodes": 1.0,
            "longest_h": seconds(track, stretch) / 3600,
            "channels_unchanged": float(channels),
            "longest_rest_before_s": rest_s,
        },
        causes=(
            alone("drive_or_gateway_repeats_old_values", weight=0.7),
            alone("wrong_register", weight=0.3),
        ),
        checks=("compare_with_drive_panel", "restart_gateway", "register_addresses"),
    )
