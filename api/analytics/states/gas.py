"""Gas in the water: head and power fall in bursts, restlessly, and come back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import Cause, Finding, Kind, Priority
from api.analytics.states.own_curve import Floats, OwnCurve, usual_flow_over_speed
from api.analytics.states.saying import alone, episode
from api.analytics.states.track import Mask, Stretch, Track, held, seconds_since_start

_BLOCK_S: Final = 600
_BLOCKS_A_DAY: Final = 144
"""How still readings usually are, and where a residual lies, is told from the last running day."""
_BLOCKS_AN_HOUR: Final = 6
"""Power over speed cubed has no curve to lie on: valves move it by the hour, gas by the minute."""
_FEWEST_BLOCKS: Final = 12
_RECENT_S: Final = 300.0
"""What a burst shows within this long is called one."""
_FALL_SD: Final = 5.0
_FALL_SD_OF_CUBE: Final = 3.0
_LEAST_FALL: Final = 0.04
"""Of head or of power: less gas than this makes no trouble, and valves move a curve's misfit as much."""
_SHARE_OF_RECENT: Final = 0.5
_RESTLESS: Final = 3.0
"""Reading-to-reading scatter against the usual one (prototype)."""
_MOST_RESTLESS: Final = 6.0
"""A single step is one jump, however high; counted no higher, one jump makes no restless time."""
_HIGH_JUMP: Final = 2.5
_FEWEST_RECENT: Final = 4
_LEAST_JUMP: Final = 2e-3
_JUMP_OF_NOISE: Final = 1.652
"""Median of the second difference of white noise over its standard deviation: 0.6745 times root six."""
_SETTLED_S: Final = 300.0
_HIGH_FLOW: Final = 1.35
"""Of the usual flow: there a low suction pressure makes vapour that looks like gas."""
_HOLD_S: Final = 60.0
_HOLD_INTERVALS_OF_CUBE: Final = 4
"""Valves that move in steps make power alone restless for a few readings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Signal:
    """What gas does to a share [-], (n,) each.

    ``fall`` is how far it is off its level; then over the last minutes: ``low`` the part of the readings
    far below it, ``restless`` the mean jump and ``jumping`` the part of high jumps, against the usual.
    """

    fall: Floats
    low: Floats
    restless: Floats
    jumping: Floats


def gas_bursts(track: Track, curve: OwnCurve | None, facts: PumpFacts, without: Mask) -> list[Finding]:
    """Return an episode for each burst: residual far below its level, and more restless than usual.

    With measured head the residual is that of head, and of power, about the pump's own curve; else that
    of power about the cube of speed. ``without`` (n,) are readings that another kind explains.
    """
    settled = seconds_since_start(track) >= _SETTLED_S
    if len(track) < 3 or not settled.any():
        return []
    signals = _signals(track, curve, facts, settled)
    burst = np.any([_is_burst(signal) for signal in signals], axis=0) & settled & ~without
    hold_s = max(_HOLD_S, _HOLD_INTERVALS_OF_CUBE * track.interval_s if len(signals) == 1 else 0.0)
    return [_finding(track, stretch, signals, curve) for stretch in held(track, burst, hold_s)]


def _signals(track: Track, curve: OwnCurve | None, facts: PumpFacts, settled: Mask) -> list[_Signal]:
    """Return head and power about the own curve, or power about the cube of speed, with their habits.

    Over the logarithm of the latter a difference between two readings is such a share, too.
    """
    speed = np.where(settled, track["speed_rpm"], np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        if curve is None or Provenance.MEASURED not in (facts.flow, facts.head):
            cube = np.log(track["power_w"] / speed**3)
            return [_signal(track, cube, _BLOCKS_AN_HOUR, _FALL_SD_OF_CUBE)]
        head = track["head_m"] / curve.head_m(track["flow_m3h"], speed) - 1.0
        power = track["power_w"] / curve.power_w(track["flow_m3h"], speed) - 1.0
    return [_signal(track, share, _BLOCKS_A_DAY, _FALL_SD) for share in (head, power)]


def _signal(track: Track, share: Floats, level_blocks: int, fall_sd: float) -> _Signal:
    blocks = _block_places(track)
    jumps = np.abs(_second_difference(track, share))
    medians = pd.DataFrame({"share": share, "jump": jumps}).groupby(blocks).median()
    level = _before(medians["share"], level_blocks)
    usual = np.maximum(_before(medians["jump"], _BLOCKS_A_DAY), _LEAST_JUMP)[blocks]
    spread = 1.4826 * _before((medians["share"] - level).abs(), _BLOCKS_A_DAY)
    noise = np.hypot(usual / _JUMP_OF_NOISE, spread[blocks])
    fall = share - level[blocks]
    low = np.where(np.isfinite(fall), fall < -np.maximum(fall_sd * noise, _LEAST_FALL), np.nan)
    high = np.where(np.isfinite(jumps), jumps > _HIGH_JUMP * usual, np.nan)
    return _Signal(
        fall=fall,
        low=_recent_mean(track, low),
        restless=_recent_mean(track, np.minimum(jumps / usual, _MOST_RESTLESS)),
        jumping=_recent_mean(track, high),
    )


def _block_places(track: Track) -> NDArray[np.intp]:
    """Return which block of ten minutes by the clock each reading lies in, counted without holes, (n,)."""
    blocks = track.time_utc_ms // (_BLOCK_S * 1000)
    return np.cumsum(np.diff(blocks, prepend=blocks[0]) > 0)


def _before(of_blocks: pd.Series[float], count: int) -> Floats:
    """Return the median over the ``count`` running blocks before each, (blocks,); NaN if there are few."""
    seen = of_blocks.dropna()
    fewest = min(_FEWEST_BLOCKS, count // 2)
    before = seen.rolling(count, min_periods=fewest).median().shift(1)
    level: Floats = before.reindex(of_blocks.index).to_numpy()
    return level


def _second_difference(track: Track, share: Floats) -> Floats:
    """Return how far each reading lies off the line through the two before it: a ramp has none."""
    off = np.full(len(share), np.nan)
    same = track.piece[2:] == track.piece[:-2]
    off[2:] = np.where(same, share[2:] - 2.0 * share[1:-1] + share[:-2], np.nan)
    return off


def _recent_mean(track: Track, values: Floats) -> Floats:
    """Return the mean over the last ``_RECENT_S`` of what is there, (n,)."""
    count = max(round(_RECENT_S / track.interval_s), 5)
    present = np.isfinite(values)
    sums = np.concatenate([[0.0], np.cumsum(np.where(present, values, 0.0))])
    counts = np.concatenate([[0], np.cumsum(present)])
    last = np.arange(1, len(values) + 1)
    first = np.maximum(last - count, 0)
    seen = counts[last] - counts[first]
    return np.where(seen >= _FEWEST_RECENT, (sums[last] - sums[first]) / np.maximum(seen, 1), 0.0)


def _is_burst(signal: _Signal) -> Mask:
    is_burst: Mask = (
        (signal.low >= _SHARE_OF_RECENT)
        & (signal.jumping >= _SHARE_OF_RECENT)
        & (signal.restless >= _RESTLESS)
    )
    return is_burst


def _finding(track: Track, stretch: Stretch, signals: list[_Signal], curve: OwnCurve | None) -> Finding:
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
