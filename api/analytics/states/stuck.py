"""One quantity that stands still while the others say it must have moved: its register is stuck.

What slow findings leave out for it is told from hour rows: :mod:`api.analytics.stuck_hours`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from api.analytics.finding import Cause, Finding, Kind, Priority
from api.analytics.spans import DAY_MS
from api.analytics.states.own_curve import Floats, OwnCurve
from api.analytics.states.restlessness import recent_mean, step_share
from api.analytics.states.saying import alone, episode
from api.analytics.states.track import Stretch, Track, seconds, stretches
from api.analytics.stuck_hours import LEAST_MOVE, MOVE_STEPS, moved_by

CHANNELS: Final = ("power_w", "flow_m3h", "head_m")
"""A speed that stands still is what most setpoints ask for."""
_SHORTEST_S: Final = 2 * 3600.0
_TIMES_HABIT: Final = 3.0
_HABIT_MS: Final = DAY_MS
_UNKNOWN_REST_S: Final = 8 * 3600.0
"""Where the day before is not known, only a whole day is called stuck, as with all quantities at once."""
_FEWEST_READINGS: Final = 20


def stuck_readings(track: Track, curve: OwnCurve | None) -> list[Finding]:
    """Return an episode for each stretch in which one quantity alone stood still.

    It kept one value for two hours, and three times as long as it ever rested the day before, while what the
    own curve says of it by the others moved. A zero is no stuck value: a pump at rest, or a flow below what
    is reported, reads zero as long as it likes. Without a curve nothing is told.
    """
    if curve is None or len(track) < _FEWEST_READINGS:
        return []
    return [
        _finding(track, stretch, name)
        for name in CHANNELS
        for stretch in _rests(track, name)
        if _others_moved(track, stretch, name, curve)
    ]


def _rests(track: Track, name: str) -> list[Stretch]:
    """Return the stretches in which the quantity kept one value for far longer than it was used to."""
    values = track[name]
    still = np.zeros(len(track), dtype=np.bool_)
    still[1:] = (values[1:] == values[:-1]) & (values[1:] != 0) & (np.diff(track.piece) == 0)
    found = stretches(track, still)
    ends = np.array([track.time_utc_ms[one.last] for one in found], dtype=np.int64)
    lengths = np.array([seconds(track, one) + track.interval_s for one in found])
    return [
        one
        for place, one in enumerate(found)
        if lengths[place] >= max(_SHORTEST_S, _TIMES_HABIT * _habit_s(track, one, ends, lengths))
        and not _is_at_its_top(track, one, name)
    ]


def _is_at_its_top(track: Track, stretch: Stretch, name: str) -> bool:
    """Return whether it rests at the highest value read, above others: the end of a range."""
    values = track[name][: stretch.last + 1]
    running = values[track.running[: stretch.last + 1] & np.isfinite(values)]
    top = values[stretch.last] >= running.max(initial=-np.inf)
    return bool(top and (running < values[stretch.last]).any())


def _habit_s(track: Track, stretch: Stretch, ends_utc_ms: np.ndarray, lengths_s: Floats) -> float:
    """Return the longest rest that ended in the day before the stretch [s]."""
    begin = track.time_utc_ms[stretch.first]
    first = int(np.searchsorted(track.time_utc_ms, begin - _HABIT_MS))
    if np.count_nonzero(track.running[first : stretch.first]) < _FEWEST_READINGS:
        return _UNKNOWN_REST_S
    before = (ends_utc_ms >= begin - _HABIT_MS) & (ends_utc_ms < begin)
    return float(lengths_s[before].max(initial=0.0))


def _others_moved(track: Track, stretch: Stretch, name: str, curve: OwnCurve) -> bool:
    share = np.where(track.running, _against(track, name, curve), np.nan)
    part = recent_mean(track, share)[stretch.readings]
    judged = np.isfinite(share[stretch.readings]) & (part != 0)
    if judged.sum() < _FEWEST_READINGS:
        return False
    of_step = "head_m" if name == "flow_m3h" else name
    step = float(np.median(step_share(track[of_step], track.running)[stretch.readings][judged]))
    return moved_by(part[judged]) >= max(LEAST_MOVE, MOVE_STEPS * step)


def _against(values: Track, name: str, curve: OwnCurve) -> Floats:
    """Return the reading over what the own curve says of it [-], (n,); for flow, head's, which follows it."""
    flow, speed = values["flow_m3h"], values["speed_rpm"]
    with np.errstate(divide="ignore", invalid="ignore"):
        if name == "power_w":
            share = values["power_w"] / np.maximum(curve.power_w(flow, speed), 1e-9)
        else:
            share = values["head_m"] / np.maximum(curve.head_m(flow, speed), 1e-9)
    kept: Floats = np.where((speed > 0) & (flow > 0), share, np.nan)
    return kept


def _finding(track: Track, stretch: Stretch, name: str) -> Finding:
    hours = seconds(track, stretch) / 3600
    return episode(
        track,
        stretch,
        kind=Kind.FROZEN_READING,
        priority=Priority.SOON,
        effect=hours,
        effect_unit="h",
        evidence={"episodes": 1.0, "longest_h": hours, "channels_unchanged": 1.0},
        causes=_CAUSES[name],
        checks=("compare_with_drive_panel", _CHECKS[name], "register_addresses", "restart_gateway"),
    )


_CAUSES: Final[dict[str, tuple[Cause, ...]]] = {
    name: (
        alone(f"{what}_reading_stuck", weight=0.8),
        alone("drive_or_gateway_repeats_old_values", weight=0.2),
    )
    for name, what in (("power_w", "power"), ("flow_m3h", "flow"), ("head_m", "head"))
}
_CHECKS: Final = {
    "power_w": "compare_power_meter",
    "flow_m3h": "verify_flow_meter",
    "head_m": "zero_head_sensor_at_rest",
}
