"""What a simulated pump is: its curve, its system, its control, its sensors and its timetable of faults."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from simulator.plant.fluids import Fluid

Mode = Literal[
    "constant_speed", "constant_differential_pressure", "proportional_pressure", "outside_reference"
]
Provenance = Literal["measured", "estimated"]
FaultKind = Literal[
    "ring_leakage",
    "impeller_wear",
    "air",
    "dry_running",
    "closed_discharge",
    "drag",
    "head_gauge_shift",
    "flow_meter_shift",
    "power_reading_shift",
    "hunting",
    "trip_and_restart",
    "short_cycling",
    "frozen_telemetry",
    "drive_fault",
    "plugging",
    "system_opened",
    "glycol_filled",
    "setpoint_change",
    "off_bus",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveSpec:
    """A pump by its best point at rated speed and the shape of its curves.

    ``droop`` is the share of shutoff head lost at the best point, ``droop_exponent`` how late it is lost,
    ``zero_flow_power`` the shaft power at no flow as a share of that at the best point. The exponents
    are the small departures from the affinity laws: 0 makes the laws exact.
    """

    rated_speed_rpm: float = 2900.0
    best_flow_m3h: float = 20.0
    best_head_m: float = 12.0
    best_efficiency: float = 0.68
    droop: float = 0.25
    droop_exponent: float = 2.0
    zero_flow_power: float = 0.45
    efficiency_exponent: float = 0.1
    reynolds_exponent: float = 0.004
    rated_power_w: float = 1500.0
    """Input power of the drive at full load."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SystemSpec:
    """What the pump pushes against, and how the demand on it moves through day, weather and chance.

    The valves' opening is 1 at the design flow; the resistance grows with the inverse of its square.
    """

    static_head_m: float = 0.0
    design_flow_m3h: float = 18.0
    design_head_m: float = 9.0
    opening_night: float = 0.55
    opening_day: float = 0.85
    weather_gain: float = 0.0
    """Change of the opening for each kelvin that it is colder than 10 C outside."""
    wander: float = 0.08
    fluid: Fluid = "water"
    glycol_mass_pct: float = 0.0
    fluid_temperature_c: float = 30.0
    temperature_wander_c: float = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlSpec:
    """How the speed is chosen, and when the pump runs (hours of the site's day; through midnight allowed).

    ``setpoint`` is a share of rated speed for constant speed, a head in metres for the two pressure modes;
    an outside reference follows the valves' opening between the lowest and the highest share of speed.
    """

    mode: Mode = "constant_speed"
    setpoint: float = 0.9
    lowest_speed: float = 0.3
    highest_speed: float = 1.0
    night_setback: float = 1.0
    """Factor on the setpoint from 22 to 6."""
    on_from_h: float = 0.0
    on_until_h: float = 24.0
    turn_days: int = 0
    """Lead/lag: days that this pump leads before the other takes over; 0 for a pump alone."""
    turn: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSpec:
    """Steps, noise and slow bias of what the drive reports, and whether flow and head are measured."""

    provenance: Provenance = "measured"
    speed_step_rpm: float = 1.0
    power_step_w: float = 1.0
    flow_step_m3h: float = 0.1
    head_step_m: float = 0.1
    noise: float = 0.004
    """Fast noise of flow and head as a share of the best point."""
    slow_bias: float = 0.003
    """Deviation of the bias that wanders from day to day."""
    unit_bias: float = 0.01
    has_fluid_temperature: bool = True
    has_current: bool = True
    has_counters: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One entry of the timetable: what happens from when until when, and how strongly.

    ``severity`` is the share of head lost at the best point for wear, the gas volume for air, the share of
    the reading for shifts, and a share otherwise. ``ramp_s`` is the time to grow to it, ``period_s`` the
    cycle of hunting, restarts, bursts and silences (for dry running the time until the drive trips), ``code``
    the fault code shown.
    """

    kind: FaultKind
    start_utc_ms: int
    end_utc_ms: int = 2**62
    severity: float = 0.05
    ramp_s: float = 0.0
    period_s: float = 600.0
    code: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpSpec:
    """One simulated pump."""

    name: str = "pump"
    curve: CurveSpec = field(default_factory=CurveSpec)
    system: SystemSpec = field(default_factory=SystemSpec)
    control: ControlSpec = field(default_factory=ControlSpec)
    sensor: SensorSpec = field(default_factory=SensorSpec)
    faults: tuple[Fault, ...] = ()
    utc_offset_h: float = 1.0
