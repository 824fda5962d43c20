"""Gas in the water: head and power fall in bursts, restlessly, and come back."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import Cause, Finding, Kind, Priority
from api.analytics.states.own_curve import Floats, OwnCurve, usual_flow_over_speed
from api.analytics.states.restlessness import (
    BLOCKS_A_DAY,
    BLOCKS_AN_HOUR,
    Restlessness,
    before_each_block,
    recent_mean,
    restlessness,
    step_share,
)
from api.analytics.states.saying import alone, episode
from api.analytics.states.track import Mask, Stretch, Track, held, seconds_since_start

_LEAST_FALL: Final = 0.03
"""Of head or of power: less gas than this makes no trouble, and valves move a curve's misfit as much.

A step in which the channel is reported comes on top: one step down is the least that can be read.
"""
_FALL_SD: Final = 3.0
"""Against how far the ten minutes' means usually lie apart."""
_MOST_SPREAD: Final = 0.04
"""Days of gas spread wider; no habit does."""
_LEVEL_QUANTILE: Final = 0.65
"""Gas only pulls down, so the level is that of the upper part of the day."""
_RESTLESS: Final = 3.4
"""Reading-to-reading scatter against the usual one; in gas it is five to six times (tuned)."""
_SHARED: Final = 0.25
"""Gas takes from head and power at once: the lesser fall is a good part of the greater (tuned)."""
_RESTLESS_TOO: Final = 1.5
"""Of the calmer of the two, in times its usual scatter (tuned)."""
_JUMP_OF_FALL: Final = 0.35
"""Gas comes and goes as it churns: readings jump by a good part of the fall. A worn pump's do not."""
_HIGH_JUMPS: Final = 0.5
_HIGH_JUMPS_OF_CUBE: Final = 0.65
"""One step of speed, as a setback makes, is two jumps of the five that minute polls give (tuned)."""
_ALTERNATING: Final = 0.4
"""White noise turns back at 0.73 of its jumps, a swing of six readings at 0.33."""
_WILD_JUMP: Final = 0.05
_WILD_RESTLESS: Final = 4.0
_WILD_INTERVAL_S: Final = 30.0
"""Readings further apart cannot tell a wild power from a loop that swings."""
_SETTLED_S: Final = 300.0
_HIGH_FLOW: Final = 1.35
"""Of the usual flow: there a low suction pressure makes vapour that looks like gas."""
_AFTERWARDS_MS: Final = 1_800_000
_LONG_ENOUGH_S: Final = 600.0
_STAYS: Final = 0.6
"""Of its fall: what is still down by so much has not come back."""
_CALM_AGAIN: Final = 2.0
"""Times the usual scatter: gas that is still there goes on at three and more."""
_HOLD_S: Final = 60.0
_HOLD_INTERVALS: Final = 3
_HOLD_INTERVALS_OF_CUBE: Final = 4
"""Valves that move in steps make power alone restless for a few readings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Signal:
    """What gas does to a share [-], (n,) each: how far it is off its level, how restless, both together.

    ``recent`` is the mean of ``fall`` over the last minutes.
    """

    fall: Floats
    recent: Floats
    restless: Restlessness
    burst: Mask


def gas_bursts(track: Track, curve: OwnCurve | None, facts: PumpFacts, without: Mask) -> list[Finding]:
    """Return an episode for each burst: residual far below its level, and more restless than usual.

    With measured flow and head the residuals are those of head and of power about the pump's own curve.
    Else that of power about the cube of speed, or, since a drive that controls by its own estimate chases
    it, power that jumps wildly. ``without`` (n,) are readings that another kind explains.
    """
    settled = seconds_since_start(track) >= _SETTLED_S
    if len(track) < 3 or not settled.any():
        return []
    by_curve = curve is not None and Provenance.MEASURED in (facts.flow, facts.head)
    signals = _by_curve(track, curve, settled) if curve and by_curve else _by_power(track, settled)
    burst = np.any([signal.burst for signal in signals], axis=0) & settled & ~without
    intervals = _HOLD_INTERVALS if by_curve else _HOLD_INTERVALS_OF_CUBE
    hold_s = max(_HOLD_S, 0.99 * intervals * track.interval_s)
    return [
        _finding(track, stretch, signals, curve)
        for stretch in held(track, burst, hold_s)
        if not _is_a_step(track, stretch, _strongest(signals, stretch), settled & ~burst)
    ]


def _strongest(signals: list[_Signal], stretch: Stretch) -> _Signal:
    return min(signals, key=lambda one: np.nanmedian(one.fall[stretch.readings]))


def _is_a_step(track: Track, stretch: Stretch, signal: _Signal, calm: Mask) -> bool:
    """Return whether what fell stayed down, calmly, after the burst: gas leaves, or goes on churning."""
    until_ms = track.time_utc_ms[stretch.last] + _AFTERWARDS_MS
    after = np.zeros(len(track), dtype=np.bool_)
    after[stretch.last + 1 : int(np.searchsorted(track.time_utc_ms, until_ms, side="right"))] = True
    after &= calm & (track.piece == track.piece[stretch.last]) & np.isfinite(signal.fall)
    if after.sum() * track.interval_s < _LONG_ENOUGH_S:
        return False
    fell = float(np.nanmedian(signal.fall[stretch.readings]))
    stays = np.median(signal.fall[after]) <= _STAYS * fell
    return bool(stays and np.median(signal.restless.times_usual[after]) < _CALM_AGAIN)


def _by_curve(track: Track, curve: OwnCurve, settled: Mask) -> list[_Signal]:
    speed = np.where(settled, track["speed_rpm"], np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        head = track["head_m"] / curve.head_m(track["flow_m3h"], speed) - 1.0
        power = track["power_w"] / curve.power_w(track["flow_m3h"], speed) - 1.0
        bands = (
            curve.head_band_m / np.abs(track["head_m"]),
            curve.power_band_w / np.abs(track["power_w"]),
        )
    steps = (step_share(track["head_m"], settled), step_share(track["power_w"], settled))
    return _together(
        *(
            _falling(track, share, step, BLOCKS_A_DAY, band)
            for share, step, band in zip((head, power), steps, bands, strict=True)
        )
    )


def _together(*signals: _Signal) -> list[_Signal]:
    """Return the signals with a burst only where all that is known falls and churns: one sensor is no gas."""
    known = [one for one in signals if np.isfinite(one.fall).any()]
    bursts = [one.burst & np.all([_follows(other, one) for other in known], axis=0) for one in known]
    return [replace(one, burst=burst) for one, burst in zip(known, bursts, strict=True)]


def _follows(other: _Signal, one: _Signal) -> Mask:
    falls: Mask = other.recent <= -_SHARED * np.abs(one.recent)
    return falls & (other.restless.times_usual >= _RESTLESS_TOO)


def _by_power(track: Track, settled: Mask) -> list[_Signal]:
    """Return signals of power alone; a difference of two logarithms is the share between them.

    Power over speed cubed has no curve to lie on: valves move it by the hour, gas by the minute.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        power = np.log(np.where(settled, track["power_w"], np.nan))
        cube = power - 3.0 * np.log(track["speed_rpm"])
    step = step_share(track["power_w"], settled)
    return [_falling(track, cube, step, BLOCKS_AN_HOUR), _wild(track, power, step)]


def _falling(track: Track, share: Floats, step: Floats, blocks: int, band: Floats | None = None) -> _Signal:
    """Return where a share falls from its level, restlessly; ``band`` [-] tells of an own curve.

    After a stop of more than a day, the own curve and its band stand for the level and its noise.
    """
    level = before_each_block(track, share, blocks, _LEVEL_QUANTILE if band is not None else 0.5)
    if band is not None:
        level = np.where(np.isnan(level), 0.0, level)
    fall = share - level
    spread = before_each_block(track, np.abs(fall), BLOCKS_A_DAY)
    restless = restlessness(track, share, step, band)
    recent = recent_mean(track, np.clip(fall, -0.5, 0.5))
    with np.errstate(invalid="ignore"):
        far = recent < -np.fmax(_FALL_SD * np.fmin(spread, _MOST_SPREAD), _LEAST_FALL + step)
    churned = restless.jump >= _JUMP_OF_FALL * np.abs(recent)
    high = _HIGH_JUMPS_OF_CUBE if band is None else _HIGH_JUMPS
    burst = far & churned & _is_restless(restless, _RESTLESS, high)
    return _Signal(fall=fall, recent=recent, restless=restless, burst=burst)


def _wild(track: Track, power: Floats, step: Floats) -> _Signal:
    restless = restlessness(track, power, step)
    burst = (restless.jump >= _WILD_JUMP) & _is_restless(restless, _WILD_RESTLESS)
    if track.interval_s > _WILD_INTERVAL_S:
        burst = np.zeros(len(track), dtype=np.bool_)
    fall = power - before_each_block(track, power, BLOCKS_AN_HOUR)
    return _Signal(fall=fall, recent=recent_mean(track, fall), restless=restless, burst=burst)


def _is_restless(restless: Restlessness, limit: float, high: float = _HIGH_JUMPS) -> Mask:
    is_restless: Mask = (
        (restless.times_usual >= limit) & (restless.high >= high) & (restless.alternating >= _ALTERNATING)
    )
    return is_restless


def _finding(track: Track, stretch: Stretch, signals: list[_Signal], curve: OwnCurve | None) -> Finding:
    part = stretch.readings
    strongest = _strongest(signals, stretch)
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
            "scatter_ratio": float(np.max(strongest.restless.times_usual[part])),
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
