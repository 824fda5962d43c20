"""From the truth to what the drive reports: bias, noise, steps, shifts."""

from __future__ import annotations

import math

import numpy as np

from simulator.plant.arrays import DAY_MS, FloatArray, TimeArray
from simulator.plant.noise import key_of, wandering, white
from simulator.plant.spec import PumpSpec

_SHARE_CORRELATED = 0.6
"""Part of the fast noise that lasts a few minutes (turbulence, loop), the rest is new at each instant."""


def fast_noise(seed: int, spec: PumpSpec, channel: str, times: TimeArray) -> FloatArray:
    """Return noise of deviation near 1, partly white and partly correlated over minutes."""
    key = key_of(seed, spec.name, channel)
    lasting = wandering(key, times, 60_000, 0.6)
    share = _SHARE_CORRELATED
    return share * lasting + math.sqrt(1.0 - share**2) * white(key + 1, times)


def bias(seed: int, spec: PumpSpec, channel: str, times: TimeArray, of_unit: bool = True) -> FloatArray:
    """Return the factor of a channel: what the unit was born with, and what wanders from day to day."""
    key = key_of(seed, spec.name, channel, "bias")
    born = float(white(key, np.zeros(1, dtype=np.int64))[0]) if of_unit else 0.0
    daily = wandering(key + 1, times, DAY_MS, 0.6)
    return 1.0 + spec.sensor.unit_bias * born + spec.sensor.slow_bias * daily


def stepped(values: FloatArray, step: float) -> FloatArray:
    """Return the values in whole steps."""
    return values if step <= 0 else np.round(np.rint(values / step) * step, 9)


def measured_flow_m3h(seed: int, spec: PumpSpec, times: TimeArray, true: FloatArray) -> FloatArray:
    """Return what a flow sensor shows of a true flow [m3/h], before shifts and steps."""
    noise = spec.sensor.noise * spec.curve.best_flow_m3h * fast_noise(seed, spec, "flow", times)
    moving = true > 0.02 * spec.curve.best_flow_m3h
    return np.maximum(true * bias(seed, spec, "flow", times) + noise * np.where(moving, 1.0, 0.15), 0.0)


def measured_head_m(seed: int, spec: PumpSpec, times: TimeArray, true: FloatArray) -> FloatArray:
    """Return what a differential pressure sensor shows of a true head [m], before shifts and steps."""
    noise = spec.sensor.noise * spec.curve.best_head_m * fast_noise(seed, spec, "head", times)
    return true * bias(seed, spec, "head", times) + noise * np.where(true > 0, 1.0, 0.15)


def measured_power_w(seed: int, spec: PumpSpec, times: TimeArray, true: FloatArray) -> FloatArray:
    """Return what the drive shows of its input power [W], before shifts and steps."""
    noise = 0.5 * spec.sensor.noise * true * fast_noise(seed, spec, "power", times)
    return true * bias(seed, spec, "power", times) + noise
