"""A pump too slow to lift its static head moves nothing, and its discharge is open all the same.

Where water stands higher on the far side (a tank, a high coil), there is a speed below which the check
valve stays shut. A control that goes that low does so night after night; an urgent alarm each time is one
that nobody reads. A valve that closes at a speed at which this pump moves water is another matter.

Tuned on the simulated families A to C and K to P, and blind where the two look alike: a pump whose control
slows it to a low head without flow (proportional pressure), and whose valve closes slowly at little flow or
was closed before a start, is taken for one that is too slow. The other way round, a pump that is slowed past
that point within some minutes is said to be closed until it has recovered twice within a day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from api.analytics.spans import DAY_MS
from api.analytics.states.own_curve import Floats, OwnCurve
from api.analytics.states.track import Mask, Stretch, Track, held

_LOOK_BACK_MS: Final = DAY_MS
_DECIDED_MS: Final = 120_000
"""Told by the beginning alone, so that nothing urgent is said first and taken back later."""
_BEFORE_MS: Final = 300_000
"""A hand or an actuator closes a valve within some minutes (common practice)."""
_LITTLE_FLOW: Final = 0.3
_HARDLY_ANY_FLOW: Final = 0.15
"""Of the usual flow: a pump that slows down comes to its last flow by and by (tuned: 0.28 and 0.15)."""
_LEAST_HEAD_QUANTILE: Final = 0.02
_FEWEST_READINGS_S: Final = 1800.0
_CLEARLY_LESS: Final = 0.95
"""After a start there was no flow to dwindle, so that head alone has to tell."""
_FAST_ENOUGH: Final = 1.05
_FAST_ENOUGH_S: Final = 100.0
"""Speed that came back to where water moves, with water that did not, is a closed discharge after all."""
_MOVING: Final = 2.0
"""Times the limit of no flow: there water certainly moves."""
_ENDED_BY_THEMSELVES: Final = 2
_NEARLY_ALWAYS: Final = 0.8
_AS_SLOW: Final = 1.01


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowSeen:
    """Shares of the usual flow [-] (n,), the share that counts as none, and where flow was judged (n,)."""

    share: Floats
    none_below: float
    judged: Mask


def is_too_slow(
    track: Track, stretch: Stretch, earlier: Sequence[Stretch], seen: FlowSeen, curve: OwnCurve
) -> bool:
    """Return whether speed alone explains that nothing moved in the stretch.

    Either it slid there: no head at which water moved during the last day is reached at this speed, and
    flow had dwindled before it went. Or it is used to it: twice or more within the day (``earlier``, any
    order) the pump moved nothing and began again by itself, and so slow it hardly ever moved anything.
    Either way no longer once it turns fast enough for a while, and still nothing moves.
    """
    begin_ms = int(track.time_utc_ms[stretch.first])
    day = slice(int(np.searchsorted(track.time_utc_ms, begin_ms - _LOOK_BACK_MS)), stretch.first)
    speed_rpm, least_m = _speed_at_first(track, stretch), _least_head_m(track, day, seen, curve)
    if _became_fast_enough(track, stretch, _FAST_ENOUGH * least_m, curve):
        return False
    return _slid(track, day, seen, float(curve.head_m(0.0, speed_rpm)) / least_m) or (
        _is_used_to_it(track, day, speed_rpm, seen)
        and _recovered(track, day, earlier) >= _ENDED_BY_THEMSELVES
    )


def _became_fast_enough(track: Track, stretch: Stretch, least_m: float, curve: OwnCurve) -> bool:
    able = np.zeros(len(track), dtype=np.bool_)
    able[stretch.readings] = curve.head_m(0.0, track["speed_rpm"][stretch.readings]) >= least_m
    return bool(held(track, able, _FAST_ENOUGH_S))


def _speed_at_first(track: Track, stretch: Stretch) -> float:
    until_ms = track.time_utc_ms[stretch.first] + _DECIDED_MS
    count = int(np.searchsorted(track.time_utc_ms[stretch.readings], until_ms, side="right"))
    return float(np.median(track["speed_rpm"][stretch.readings][:count]))


def _slid(track: Track, day: slice, seen: FlowSeen, head_of_least: float) -> bool:
    before = slice(int(np.searchsorted(track.time_utc_ms, _time_ms(track, day.stop) - _BEFORE_MS)), day.stop)
    flow = seen.share[before][track.running[before] & np.isfinite(seen.share[before])]
    if before.start == before.stop or np.any(flow > _LITTLE_FLOW) or np.any(flow[-1:] > _HARDLY_ANY_FLOW):
        return False
    return head_of_least < (1.0 if track.running[before].all() else _CLEARLY_LESS)


def _least_head_m(track: Track, day: slice, seen: FlowSeen, curve: OwnCurve) -> float:
    """Return the least head [m] at which water moved, by the own curve; NaN if it hardly moved at all."""
    moving = track.running[day] & seen.judged[day] & (seen.share[day] > _MOVING * seen.none_below)
    if moving.sum() * track.interval_s < _FEWEST_READINGS_S:
        return float("nan")
    head = curve.head_m(track["flow_m3h"][day][moving], track["speed_rpm"][day][moving])
    return float(np.quantile(head, _LEAST_HEAD_QUANTILE))


def _is_used_to_it(track: Track, day: slice, speed_rpm: float, seen: FlowSeen) -> bool:
    as_slow = seen.judged[day] & (track["speed_rpm"][day] <= _AS_SLOW * speed_rpm)
    without = seen.share[day][as_slow] <= seen.none_below
    return len(without) > 0 and bool(without.mean() >= _NEARLY_ALWAYS)


def _recovered(track: Track, day: slice, earlier: Sequence[Stretch]) -> int:
    """Return how many of the stretches lie within the day and ended while the pump ran on."""
    return sum(
        day.start <= one.first and one.last + 1 < day.stop and _runs_on(track, one.last) for one in earlier
    )


def _runs_on(track: Track, last: int) -> bool:
    return bool(track.running[last + 1] and track.piece[last + 1] == track.piece[last])


def _time_ms(track: Track, place: int) -> int:
    return int(track.time_utc_ms[place])
