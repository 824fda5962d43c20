"""From the timetable to physics: what the faults do to the pump, its fluid, its system and its speed."""

from __future__ import annotations

import math

import numpy as np

from simulator.plant import demand, fluids
from simulator.plant.arrays import FloatArray, TimeArray
from simulator.plant.curve import Condition, leak_for_head_loss
from simulator.plant.spec import PumpSpec
from simulator.plant.timetable import Timetable

_HEAD_LOST_PER_GAS = 5.0
_POWER_LOST_PER_GAS = 4.0
"""Shares lost for each share of gas by volume: 2 % gas costs about a tenth (common practice)."""
_SHUT = 1e7
_DRY_POWER = 0.35
"""Power of a pump without water as a share of that at no flow (common practice: far below it)."""


def condition(spec: PumpSpec, table: Timetable, temperature_c: FloatArray, times: TimeArray) -> Condition:
    """Return what the pump is at each instant."""
    gas = np.minimum(table.gas(times), 0.15)
    worn = table.severity("impeller_wear", times)
    dry = table.on("dry_running", times)
    glycol_pct = spec.system.glycol_mass_pct + 100.0 * table.severity("glycol_filled", times)
    density, viscosity = _fluid(spec, temperature_c, glycol_pct)
    head = (1.0 - worn) * (1.0 - np.minimum(_HEAD_LOST_PER_GAS * gas, 0.9))
    power = (1.0 - worn) * (1.0 - np.minimum(_POWER_LOST_PER_GAS * gas, 0.85))
    return Condition(
        head_factor=np.where(dry, 0.01, head),
        power_factor=np.where(dry, _DRY_POWER, power),
        leak=leak_for_head_loss(spec.curve, table.severity("ring_leakage", times)),
        density_kg_m3=density,
        viscosity_ratio=viscosity,
        drag_w=table.severity("drag", times) * spec.curve.rated_power_w,
    )


def _fluid(
    spec: PumpSpec, temperature_c: FloatArray, glycol_pct: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return density, and viscosity as a ratio to water at 20 C."""
    kind = spec.system.fluid
    strongest = float(glycol_pct.max(initial=0.0))
    if strongest > 0 and kind == "water":
        kind = "propylene_glycol"
    water_density = fluids.density_kg_m3(temperature_c)
    water_viscosity = fluids.viscosity_mpa_s(temperature_c)
    if strongest > 0:
        share = glycol_pct / 30.0
        at_30 = fluids.density_kg_m3(temperature_c, kind, 30.0)
        thick = fluids.viscosity_mpa_s(temperature_c, kind, 30.0)
        water_density = water_density + (at_30 - water_density) * share
        water_viscosity = water_viscosity * (thick / water_viscosity) ** share
    return water_density, water_viscosity / float(fluids.water_viscosity_mpa_s(np.array([20.0]))[0])


def resistance(spec: PumpSpec, table: Timetable, valves: FloatArray, times: TimeArray) -> FloatArray:
    """Return the system's resistance [m/(m3/h)2], with loaded strainers, opened bypasses and shut valves."""
    plain = demand.resistance(spec, valves)
    loaded = 1.0 + table.severity("plugging", times)
    opened = np.maximum(1.0 - table.severity("system_opened", times), 0.05)
    shut = np.where(table.on("closed_discharge", times) | table.on("dry_running", times), _SHUT, 1.0)
    return plain * loaded * opened * shut


def setpoint(spec: PumpSpec, table: Timetable, times: TimeArray) -> FloatArray:
    """Return the setpoint, with night setback and changes made by people."""
    night = np.where(demand.is_night(times, spec.utc_offset_h), spec.control.night_setback, 1.0)
    return spec.control.setpoint * night * (1.0 + table.severity("setpoint_change", times))


def hunting_factor(table: Timetable, times: TimeArray) -> FloatArray:
    """Return the factor on speed of a loop that swings."""
    factor = np.ones(len(times))
    for fault in table.of("hunting"):
        swing = np.sin(2 * math.pi * (times - fault.start_utc_ms) / (1000.0 * fault.period_s))
        factor += table.severity("hunting", times) * swing
    return factor
