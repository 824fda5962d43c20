"""Randomness as a function of seed and time, so that a run in pieces equals a run in one go.

Nothing here has a state: the disturbance at an instant is a hash of the key and the instant. A history at
one-minute steps and a live run at one second therefore see the same weather and the same sensor drift.
"""

from __future__ import annotations

import math
import zlib

import numpy as np
from numpy.typing import NDArray

from simulator.plant.arrays import FloatArray, TimeArray

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)


def key_of(seed: int, *names: str) -> int:
    """Return a key for a stream of randomness; different names give independent streams."""
    return (seed * 0x1_0000_0000 + zlib.crc32("/".join(names).encode())) % 2**63


def _mixed(key: int, ticks: NDArray[np.int64]) -> NDArray[np.uint64]:
    """Splitmix64 finaliser (Steele, Lea and Flood 2014; constants from memory)."""
    z: NDArray[np.uint64] = ticks.astype(np.uint64) * _GOLDEN + np.uint64(key)
    z ^= z >> np.uint64(30)
    z *= np.uint64(0xBF58476D1CE4E5B9)
    z ^= z >> np.uint64(27)
    z *= np.uint64(0x94D049BB133111EB)
    z ^= z >> np.uint64(31)
    return z


def uniform(key: int, ticks: NDArray[np.int64]) -> FloatArray:
    """Return one number in [0, 1) for each tick."""
    shares: FloatArray = (_mixed(key, ticks) >> np.uint64(11)).astype(np.float64) * 2.0**-53
    return shares


def white(key: int, ticks: NDArray[np.int64]) -> FloatArray:
    """Return one number for each tick, mean 0, deviation 1, never beyond 3.5 (a sum of four uniforms)."""
    lanes = _mixed(key, ticks).view(np.uint16).reshape(-1, 4)
    total: FloatArray = lanes.sum(axis=1, dtype=np.float64)
    return (total / 65_536.0 - 2.0) * math.sqrt(3.0)


def wandering(key: int, times_utc_ms: TimeArray, knot_ms: int, memory: float) -> FloatArray:
    """Return a first-order autoregressive walk, mean 0, deviation near 1, straight between knots.

    ``memory`` is the correlation of one knot with the next, 0 to below 1; ``knot_ms`` their distance.
    """
    if not len(times_utc_ms):
        return np.empty(0)
    knots = _knots(key, int(times_utc_ms.min()) // knot_ms, int(times_utc_ms.max()) // knot_ms + 1, memory)
    place = times_utc_ms // knot_ms - int(times_utc_ms.min()) // knot_ms
    share = (times_utc_ms % knot_ms) / knot_ms
    return knots[place] * (1.0 - share) + knots[place + 1] * share


def _knots(key: int, first: int, last: int, memory: float) -> FloatArray:
    """Return the walk at knots ``first`` to ``last``, each from the finite past that still matters."""
    reach = max(1, math.ceil(math.log(0.01) / math.log(memory))) if memory > 0 else 1
    shocks = white(key, np.arange(first - reach + 1, last + 1, dtype=np.int64))
    count = last - first + 1
    walk = np.zeros(count)
    for age in range(reach):
        walk += memory**age * shocks[reach - 1 - age : reach - 1 - age + count]
    return walk * math.sqrt(1.0 - memory**2)
