"""What the building asks of the pump: weather, valves, fluid temperature, schedule."""

from __future__ import annotations

import math

import numpy as np

from simulator.plant.arrays import DAY_MS, HOUR_MS, BoolArray, FloatArray, TimeArray
from simulator.plant.noise import key_of, wandering
from simulator.plant.spec import ControlSpec, PumpSpec

_SMALLEST_OPENING = 0.12


def local_hour(times: TimeArray, utc_offset_h: float) -> FloatArray:
    """Return the hour of the site's day, 0 to below 24 (a fixed offset: plant clocks rarely change)."""
    shifted = times + int(utc_offset_h * HOUR_MS)
    return (shifted % DAY_MS) / HOUR_MS


def outdoor_temperature_c(seed: int, times: TimeArray, utc_offset_h: float) -> FloatArray:
    """Return the weather [C], the same for every pump of a seed: season, day, and fronts of a few days."""
    year = np.cos(2 * math.pi * (times / (365.25 * DAY_MS) - 0.05))
    day = np.cos(2 * math.pi * (local_hour(times, utc_offset_h) - 15.0) / 24.0)
    fronts = wandering(key_of(seed, "weather"), times, DAY_MS // 4, 0.9)
    return 9.0 - 9.0 * year + 3.0 * day + 3.5 * fronts


def day_share(times: TimeArray, utc_offset_h: float) -> FloatArray:
    """Return how much it is day for the users, 0 at night to 1, with soft edges at 6 and 22."""
    hour = local_hour(times, utc_offset_h)
    rise = 1.0 / (1.0 + np.exp(np.clip(-(hour - 6.5) * 4.0, -60, 60)))
    fall = 1.0 / (1.0 + np.exp(np.clip((hour - 21.5) * 4.0, -60, 60)))
    share: FloatArray = rise * fall
    return share


def opening(spec: PumpSpec, seed: int, times: TimeArray) -> FloatArray:
    """Return the valves' opening, 1 at the design flow."""
    system = spec.system
    day = day_share(times, spec.utc_offset_h)
    base = system.opening_night + (system.opening_day - system.opening_night) * day
    if system.weather_gain:
        base = base + system.weather_gain * (10.0 - outdoor_temperature_c(seed, times, spec.utc_offset_h))
    slow = wandering(key_of(seed, spec.name, "valve"), times, HOUR_MS // 2, 0.9)
    quick = wandering(key_of(seed, spec.name, "valve", "quick"), times, 300_000, 0.6)
    return np.clip(base + system.wander * slow + 0.25 * system.wander * quick, _SMALLEST_OPENING, 1.15)


def resistance(spec: PumpSpec, valves: FloatArray) -> FloatArray:
    """Return the system's resistance [m/(m3/h)2] at an opening of its valves."""
    system = spec.system
    design = (system.design_head_m - system.static_head_m) / system.design_flow_m3h**2
    return design / valves**2


def fluid_temperature_c(spec: PumpSpec, seed: int, times: TimeArray) -> FloatArray:
    """Return the temperature of the fluid [C]."""
    swing = wandering(key_of(seed, spec.name, "fluid"), times, 6 * HOUR_MS, 0.8)
    return np.clip(spec.system.fluid_temperature_c + spec.system.temperature_wander_c * swing, 2.0, 95.0)


def scheduled_on(spec: PumpSpec, times: TimeArray) -> BoolArray:
    """Return where the schedule and the lead/lag turn let the pump run."""
    return _hours_on(spec.control, times, spec.utc_offset_h) & _own_turn(spec.control, times)


def _hours_on(control: ControlSpec, times: TimeArray, utc_offset_h: float) -> BoolArray:
    if control.on_until_h - control.on_from_h >= 24.0:
        return np.ones(len(times), dtype=np.bool_)
    hour = local_hour(times, utc_offset_h)
    after, before = hour >= control.on_from_h, hour < control.on_until_h
    on: BoolArray = (after & before) if control.on_from_h < control.on_until_h else (after | before)
    return on


def _own_turn(control: ControlSpec, times: TimeArray) -> BoolArray:
    if control.turn_days == 0:
        return np.ones(len(times), dtype=np.bool_)
    mask: BoolArray = (times // (control.turn_days * DAY_MS)) % 2 == control.turn
    return mask


def is_night(times: TimeArray, utc_offset_h: float) -> BoolArray:
    """Return where a night setback is in force: 22 to 6."""
    hour = local_hour(times, utc_offset_h)
    night: BoolArray = (hour >= 22.0) | (hour < 6.0)
    return night
