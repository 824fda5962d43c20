"""One quantity that stands still while the others say it must have moved: its register is stuck."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.finding import Cause, Finding, Kind, Priority
from api.analytics.states.own_curve import Floats, OwnCurve
from api.analytics.states.restlessness import recent_mean, step_share
from api.analytics.states.saying import alone, episode
from api.analytics.states.track import Mask, Stretch, Track, seconds, stretches

CHANNELS: Final = ("power_w", "flow_m3h", "head_m")
"""A speed that stands still is what most setpoints ask for."""
_SHORTEST_S: Final = 2 * 3600.0
_TIMES_HABIT: Final = 3.0
_HABIT_MS: Final = 24 * 3_600_000
_UNKNOWN_REST_S: Final = 8 * 3600.0
"""Where the day before is not known, only a whole day is called stuck, as with all quantities at once."""
_FEWEST_READINGS: Final = 20
_LEAST_MOVE: Final = 0.06
"""Of the own curve: sensors, valves and a curve's misfit move a healthy reading about it by less (tuned)."""
_MOVE_STEPS: Final = 3.0
"""A value rests while what it tells of moves by up to one step, and as much again where the curve is off."""
_OUTSIDE: Final = (0.05, 0.95)
_FEWEST_HOURS: Final = 3


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


def hours_with_a_stuck_channel(hours: pd.DataFrame, curve: OwnCurve) -> Mask:
    """Mask the hours (n,) in which one quantity stood still while the others moved: not to be judged.

    ``hours`` are hour rows in order. A run of three hours or more of nothing but one value of a quantity is
    asked for, over which the reading moved about the own curve.
    """
    stuck = np.zeros(len(hours), dtype=np.bool_)
    count = np.maximum(hours["n_trusted"].to_numpy(dtype=float), 1.0)
    known = hours["n_trusted"].to_numpy(dtype=float) > 0
    means = {
        name: hours[f"sum_{short}"].to_numpy(dtype=float) / count
        for name, short in (("speed_rpm", "n"), ("power_w", "p"), ("flow_m3h", "q"), ("head_m", "h"))
    }
    for name in CHANNELS:
        low, high = (hours[f"{name}_{end}"].to_numpy(dtype=float) for end in ("min", "max"))
        share = _against(means, name, curve)
        for first, last in _runs_of_one_value(low, high):
            judged = known[first:last] & np.isfinite(share[first:last])
            moved = judged.sum() >= _FEWEST_HOURS and _range(share[first:last][judged]) >= _LEAST_MOVE
            stuck[first:last] |= moved
    return stuck


def _runs_of_one_value(low: Floats, high: Floats) -> list[tuple[int, int]]:
    """Return from where to where (exclusive) the same value, other than zero, was all that was read."""
    flat = (low == high) & (low != 0)
    goes_on = flat[1:] & flat[:-1] & (low[1:] == low[:-1])
    begins = np.flatnonzero(flat & ~np.append(False, goes_on))
    ends = np.flatnonzero(flat & ~np.append(goes_on, False)) + 1
    return [(int(a), int(b)) for a, b in zip(begins, ends, strict=True) if b - a >= _FEWEST_HOURS]


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
    return _range(part[judged]) >= max(_LEAST_MOVE, _MOVE_STEPS * step)


def _against(values: Mapping[str, Floats] | Track, name: str, curve: OwnCurve) -> Floats:
    """Return the reading over what the own curve says of it [-], (n,); for flow, head's, which follows it."""
    flow, speed = values["flow_m3h"], values["speed_rpm"]
    with np.errstate(divide="ignore", invalid="ignore"):
        if name == "power_w":
            share = values["power_w"] / np.maximum(curve.power_w(flow, speed), 1e-9)
        else:
            share = values["head_m"] / np.maximum(curve.head_m(flow, speed), 1e-9)
    kept: Floats = np.where((speed > 0) & (flow > 0), share, np.nan)
    return kept


def _range(share: Floats) -> float:
    low, high = np.quantile(share, _OUTSIDE)
    return float(high - low)


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
