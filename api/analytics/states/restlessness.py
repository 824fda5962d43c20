"""How a signal moves from reading to reading, against how it usually moves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.states.own_curve import Floats
from api.analytics.states.track import Mask, Track

_BLOCK_S: Final = 600
BLOCKS_A_DAY: Final = 144
BLOCKS_AN_HOUR: Final = 6
_FEWEST_BLOCKS: Final = 12
_RECENT_S: Final = 180.0
_RECENT_READINGS: Final = 5
_FEWEST_RECENT: Final = 4
_MOST: Final = 6.0
"""A single step is one jump, however high; counted no higher, one jump makes no restless time."""
_HIGH_JUMP: Final = 2.5
_LEAST_JUMP: Final = 2e-3
_CALM_QUANTILE: Final = 0.35
"""The habit is that of the calmer part of the day, so that a day with gas is none."""
_MOST_USUAL_JUMP: Final = 0.02
"""Days of gas are not a habit: no healthy pump's readings jump more than this share (common practice)."""
_JUMP_OF_STEP: Final = 0.6
"""Of its step a signal that is reported in steps may jump at any time."""
_JUMP_OF_NOISE: Final = 1.954
"""Mean second difference of white noise over its standard deviation: root (2/pi) times root six."""
_NOISE_OF_BAND: Final = 0.6
"""A curve's band holds its misfit and the sensors' slow drift too; so much of it jumps (tuned)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Restlessness:
    """Over the last minutes, (n,) each: what is 0 where too little is known.

    ``times_usual`` the mean jump over the usual one, ``jump`` the mean jump itself, ``high`` the part of
    jumps far above the usual, ``alternating`` the part that turned back at once, as noise does and a
    swing does not.
    """

    times_usual: Floats
    jump: Floats
    high: Floats
    alternating: Floats


def restlessness(track: Track, share: Floats, step: Floats, noise: Floats | None = None) -> Restlessness:
    """Return how restless a share [-] (n,) is; ``step`` [-] (n,) is the step in which it is reported.

    ``noise`` [-] (n,) is what one reading has about the own curve: the habit is taken to be no less.
    """
    turns = second_difference(track, share)
    jumps = np.abs(turns)
    habit = before_each_block(track, jumps, BLOCKS_A_DAY, _CALM_QUANTILE)
    if noise is not None:
        # Sensor noise is a fixed amount, so that it is a larger share at low speed than the day's habit.
        habit = np.fmax(habit, _JUMP_OF_NOISE * _NOISE_OF_BAND * noise)
    usual = np.fmax(np.clip(habit, _LEAST_JUMP, _MOST_USUAL_JUMP), _JUMP_OF_STEP * step)
    usual[np.isnan(habit)] = np.nan
    back = np.full(len(turns), np.nan)
    back[1:] = np.where(np.isfinite(turns[1:] * turns[:-1]), turns[1:] * turns[:-1] < 0, np.nan)
    with np.errstate(invalid="ignore"):
        high = np.where(np.isfinite(jumps), jumps > _HIGH_JUMP * usual, np.nan)
    return Restlessness(
        times_usual=recent_mean(track, np.minimum(jumps / usual, _MOST)),
        jump=recent_mean(track, jumps),
        high=recent_mean(track, high),
        alternating=recent_mean(track, back),
    )


def second_difference(track: Track, share: Floats) -> Floats:
    """Return how far each reading lies off the line through the two before it: a ramp has none."""
    off = np.full(len(share), np.nan)
    same = track.piece[2:] == track.piece[:-2]
    off[2:] = np.where(same, share[2:] - 2.0 * share[1:-1] + share[:-2], np.nan)
    return off


def before_each_block(track: Track, values: Floats, count: int, quantile: float = 0.5) -> Floats:
    """Return for each reading a quantile over blocks of ten minutes before its own, of their means, (n,).

    ``count`` blocks are looked back on, by the clock; those without values do not count, and NaN says that
    too few had any. So nothing depends on readings older than that.
    """
    block = track.time_utc_ms // (_BLOCK_S * 1000)
    place = block - block[0]
    means = _block_means(place, values)
    fewest = min(_FEWEST_BLOCKS, count // 2)
    before = means.rolling(count, min_periods=fewest).quantile(quantile).shift(1)
    level: Floats = before.to_numpy()[place]
    return level


def _block_means(place: np.ndarray, values: Floats) -> pd.Series[float]:
    present = np.isfinite(values)
    sums = np.bincount(place, weights=np.where(present, values, 0.0))
    counts = np.bincount(place, weights=present.astype(np.float64))
    return pd.Series(np.where(counts > 0, sums / np.maximum(counts, 1.0), np.nan))


def recent_mean(track: Track, values: Floats) -> Floats:
    """Return the mean over the last minutes of what is there, (n,); 0 where that is too little."""
    count = max(round(_RECENT_S / track.interval_s), _RECENT_READINGS)
    present = np.isfinite(values)
    sums = np.concatenate([[0.0], np.cumsum(np.where(present, values, 0.0))])
    counts = np.concatenate([[0], np.cumsum(present)])
    last = np.arange(1, len(values) + 1)
    first = np.maximum(last - count, 0)
    seen = counts[last] - counts[first]
    return np.where(seen >= _FEWEST_RECENT, (sums[last] - sums[first]) / np.maximum(seen, 1), 0.0)


def step_share(values: Floats, running: Mask) -> Floats:
    """Return the step in which a channel is reported as a share of each value [-], (n,)."""
    known = values[running & np.isfinite(values)]
    apart = np.abs(np.diff(known))
    usual = float(np.median(np.abs(known))) if len(known) else 0.0
    apart = apart[apart > 1e-6 * usual]
    step = float(apart.min()) if len(apart) else 0.0
    return step / np.maximum(np.abs(values), 1e-9)
