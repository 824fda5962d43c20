"""Gas in the water: head and power fall in bursts, restlessly, and come back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import Cause, Finding, Kind, Priority
from api.analytics.states.own_curve import Floats, OwnCurve, usual_flow_over_speed
from api.analytics.states.saying import alone, episode
from api.analytics.states.track import Mask, Stretch, Track, held, seconds_since_start

_LEVEL_S: Final = 4 * 3600.0
"""The level that a burst falls from is the middle of this long before: sensors drift more slowly."""
_RECENT_S: Final = 300.0
"""What a burst shows within this long is called one."""
_FALL_SD: Final = 5.0
_LEAST_FALL: Final = 0.04
"""Of head or of power: less gas than this makes no trouble, and valves move a curve's misfit as much."""
_SHARE_OF_RECENT: Final = 0.5
_RESTLESS: Final = 3.0
"""Reading-to-reading scatter against the usual one (prototype)."""
_SETTLED_S: Final = 300.0
_HIGH_FLOW: Final = 1.35
"""Of the usual flow: there a low suction pressure makes vapour that looks like gas."""
_HOLD_S: Final = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Signal:
    """A share [-] that gas pulls below zero, its robust scatter, and its restlessness, each (n,)."""

    fall: Floats
    spread: Floats
    restless: Floats


def gas_bursts(track: Track, curve: OwnCurve | None, facts: PumpFacts, without: Mask) -> list[Finding]:
    """Return an episode for each burst: residual far below its level, and more restless than usual.

    With measured head the residual is that of head, and of power, about the pump's own curve; else that
    of power about the cube of speed. ``without`` (n,) are readings that another kind explains.
    """
    if len(track) < 2 or not track.running.any():
        return []
    signals = [_signal(track, share) for share in _shares(track, curve, facts)]
    burst = np.zeros(len(track), dtype=np.bool_)
    for signal in signals:
        burst |= _is_burst(track, signal)
    burst &= ~without & (seconds_since_start(track) >= _SETTLED_S)
    return [_finding(track, stretch, signals, curve, facts) for stretch in held(track, burst, _HOLD_S)]


def _shares(track: Track, curve: OwnCurve | None, facts: PumpFacts) -> list[Floats]:
    """Return the residuals as shares of what is expected, (n,) each, NaN where not running."""
    speed = np.where(track.running, track["speed_rpm"], np.nan)
    cube = track["power_w"] / speed**3
    if curve is None or Provenance.MEASURED not in (facts.flow, facts.head):
        return [cube / np.nanmedian(cube) - 1.0]
    head = track["head_m"] / curve.head_m(track["flow_m3h"], speed) - 1.0
    power = track["power_w"] / curve.power_w(track["flow_m3h"], speed) - 1.0
    return [head, power]


def _signal(track: Track, share: Floats) -> _Signal:
    count = _count(track, _LEVEL_S)
    series = pd.Series(np.where(track.running, share, np.nan))
    level = series.rolling(count, min_periods=count // 8).median().to_numpy()
    fall = share - np.roll(level, 1)
    jumps = pd.Series(np.abs(_second_difference(track, share)))
    usual = jumps.rolling(count, min_periods=count // 8).median().to_numpy()
    now = jumps.rolling(_count(track, _RECENT_S), min_periods=2).median().to_numpy()
    spread = pd.Series(np.abs(fall)).rolling(count, min_periods=count // 8).median().to_numpy()
    return _Signal(fall=fall, spread=1.4826 * spread, restless=now / np.maximum(usual, 2e-3))


def _second_difference(track: Track, share: Floats) -> Floats:
    """Return how far each reading lies off the middle of its neighbours: a ramp has none, noise has."""
    off = np.full(len(share), np.nan)
    same = track.piece[2:] == track.piece[:-2]
    off[2:] = np.where(same, share[2:] - 2.0 * share[1:-1] + share[:-2], np.nan)
    return off


def _count(track: Track, span_s: float) -> int:
    return max(round(span_s / track.interval_s), 5)


def _is_burst(track: Track, signal: _Signal) -> Mask:
    low = signal.fall < -np.maximum(_FALL_SD * signal.spread, _LEAST_FALL)
    recent = pd.Series(low.astype(np.float64)).rolling(_count(track, _RECENT_S), min_periods=1).mean()
    return (recent.to_numpy() >= _SHARE_OF_RECENT) & (signal.restless >= _RESTLESS)


def _finding(
    track: Track, stretch: Stretch, signals: list[_Signal], curve: OwnCurve | None, facts: PumpFacts
) -> Finding:
    part = stretch.readings
    strongest = min(signals, key=lambda one: np.nanmedian(one.fall[part]))
    fall = float(np.nanmedian(strongest.fall[part]))
    flow = _flow_share(track, part, curve)
    return episode(
        track,
        stretch,
        kind=Kind.AIR_BINDING,
        priority=Priority.SOON,
        effect=fall,
        evidence={
            "episodes": 1.0,
            "fall_share": fall,
            "scatter_ratio": float(np.nanmax(strongest.restless[part])),
            "flow_share_of_usual": flow,
        },
        causes=_causes(flow),
        checks=("vent_casing", "vent_high_points", "fill_pressure", "air_separator", "suction_pressure"),
    )


def _flow_share(track: Track, part: slice, curve: OwnCurve | None) -> float:
    if curve is None:
        return float("nan")
    speed = float(np.nanmedian(track["speed_rpm"][part]))
    return float(np.nanmedian(track["flow_m3h"][part])) / (usual_flow_over_speed(curve) * speed)


def _causes(flow_share: float) -> tuple[Cause, ...]:
    if flow_share > _HIGH_FLOW:
        return (alone("gas_in_water", "cavitation", weight=0.95),)
    return (alone("gas_in_water", weight=0.8), alone("cavitation", weight=0.2))
