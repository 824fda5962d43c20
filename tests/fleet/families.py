"""Families of invented pumps: some to tune on, others that no threshold has ever seen.

The simulator and the detector share the affinity laws and the idea of a falling curve, but neither the
curve's form (a free exponent against a parabola), nor the departures from affinity, nor the noise model.

Thresholds were chosen on ``TUNED``. ``SEEN`` judged an earlier version and may have been tuned on since.
``HELD_OUT`` judge the present one; they move to ``SEEN`` once something is changed after a look. One pump
of T has since shown that a limit of the provenance check was too narrow: no slow fault is told by that limit,
but T is not held out where provenance is judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from simulator.plant.fluids import Fluid
from simulator.plant.spec import ControlSpec, CurveSpec, Mode, Provenance, PumpSpec, SensorSpec, SystemSpec

Range = tuple[float, float]

ALL_MODES: Final[tuple[Mode, ...]] = (
    "constant_speed",
    "constant_differential_pressure",
    "proportional_pressure",
    "outside_reference",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Ranges from which a pump is drawn, evenly within each."""

    name: str
    tuned_on: bool
    modes: tuple[Mode, ...] = ALL_MODES
    droop: Range = (0.18, 0.35)
    droop_exponent: Range = (1.8, 2.3)
    zero_flow_power: Range = (0.35, 0.55)
    efficiency_exponent: Range = (0.05, 0.12)
    reynolds_exponent: Range = (0.0, 0.006)
    best_flow_m3h: Range = (8.0, 60.0)
    best_head_m: Range = (6.0, 20.0)
    static_share: Range = (0.0, 0.0)
    fluids: tuple[Fluid, ...] = ("water",)
    fluid_temperature_c: Range = (10.0, 60.0)
    temperature_wander_c: Range = (0.5, 3.0)
    weather_gain: Range = (0.0, 0.012)
    wander: Range = (0.04, 0.12)
    noise: Range = (0.003, 0.006)
    slow_bias: Range = (0.002, 0.005)
    head_step_m: tuple[float, ...] = (0.05, 0.1)
    has_fluid_temperature: bool = True


TUNED: Final = (
    Family(name="A", tuned_on=True),
    Family(
        name="B",
        tuned_on=True,
        droop=(0.1, 0.45),
        droop_exponent=(1.5, 2.7),
        static_share=(0.0, 0.4),
        noise=(0.004, 0.008),
        has_fluid_temperature=False,
    ),
    Family(
        name="C",
        tuned_on=True,
        modes=("constant_differential_pressure", "proportional_pressure"),
        fluids=("propylene_glycol", "ethylene_glycol"),
        best_flow_m3h=(30.0, 250.0),
        best_head_m=(10.0, 35.0),
        weather_gain=(0.005, 0.02),
        reynolds_exponent=(0.002, 0.01),
    ),
)

SEEN: Final = (
    Family(
        name="K",
        tuned_on=True,
        droop=(0.15, 0.4),
        droop_exponent=(1.6, 2.6),
        zero_flow_power=(0.3, 0.65),
        efficiency_exponent=(0.0, 0.15),
        noise=(0.002, 0.007),
        slow_bias=(0.002, 0.005),
    ),
    Family(
        name="L",
        tuned_on=True,
        modes=("outside_reference", "constant_differential_pressure"),
        static_share=(0.1, 0.5),
        droop=(0.12, 0.3),
        best_flow_m3h=(3.0, 15.0),
        best_head_m=(4.0, 9.0),
        head_step_m=(0.02, 0.05),
        has_fluid_temperature=False,
    ),
    Family(
        name="M",
        tuned_on=True,
        fluids=("water", "propylene_glycol"),
        best_flow_m3h=(40.0, 300.0),
        best_head_m=(15.0, 45.0),
        droop=(0.2, 0.5),
        droop_exponent=(1.4, 2.2),
        weather_gain=(0.0, 0.02),
        fluid_temperature_c=(6.0, 75.0),
        temperature_wander_c=(1.0, 5.0),
    ),
)

HELD_OUT: Final = (
    Family(
        name="T",
        tuned_on=False,
        droop=(0.12, 0.45),
        droop_exponent=(1.5, 2.8),
        zero_flow_power=(0.28, 0.65),
        efficiency_exponent=(0.0, 0.15),
        best_flow_m3h=(5.0, 120.0),
        best_head_m=(5.0, 30.0),
        noise=(0.002, 0.008),
        head_step_m=(0.02, 0.05, 0.1),
        wander=(0.03, 0.14),
    ),
    Family(
        name="U",
        tuned_on=False,
        modes=("outside_reference", "proportional_pressure", "constant_speed"),
        static_share=(0.05, 0.45),
        droop=(0.12, 0.4),
        droop_exponent=(1.6, 2.4),
        best_flow_m3h=(2.0, 25.0),
        best_head_m=(3.0, 12.0),
        head_step_m=(0.01, 0.02, 0.05),
        has_fluid_temperature=False,
    ),
    Family(
        name="V",
        tuned_on=False,
        fluids=("water", "propylene_glycol", "ethylene_glycol"),
        droop=(0.15, 0.5),
        best_flow_m3h=(20.0, 260.0),
        best_head_m=(8.0, 42.0),
        reynolds_exponent=(0.0, 0.01),
        slow_bias=(0.002, 0.006),
        weather_gain=(0.0, 0.02),
        fluid_temperature_c=(5.0, 80.0),
        temperature_wander_c=(0.5, 5.0),
    ),
)

FAMILIES: Final = {family.name: family for family in TUNED + SEEN + HELD_OUT}


def draw(family: Family, seed: int, provenance: Provenance = "measured") -> PumpSpec:
    """Draw one healthy pump; the same family and seed give the same pump."""
    rng = np.random.default_rng([seed, *family.name.encode()])
    curve = _curve(family, rng)
    mode = family.modes[int(rng.integers(len(family.modes)))]
    system = _system(family, curve, rng)
    return PumpSpec(
        name=f"{family.name}{seed}",
        curve=curve,
        system=system,
        control=_control(mode, system.design_head_m, rng),
        sensor=SensorSpec(
            provenance=provenance,
            head_step_m=float(rng.choice(family.head_step_m)),
            flow_step_m3h=0.1 if system.design_flow_m3h > 10 else 0.02,
            power_step_w=float(rng.choice((1.0, 10.0))) if curve.rated_power_w > 1500 else 1.0,
            noise=float(rng.uniform(*family.noise)),
            slow_bias=float(rng.uniform(*family.slow_bias)),
            has_fluid_temperature=family.has_fluid_temperature,
        ),
    )


def _system(family: Family, curve: CurveSpec, rng: np.random.Generator) -> SystemSpec:
    def within(limits: Range) -> float:
        return float(rng.uniform(*limits))

    design_head_m = curve.best_head_m * within((0.65, 0.85))
    fluid = family.fluids[int(rng.integers(len(family.fluids)))]
    return SystemSpec(
        static_head_m=design_head_m * within(family.static_share),
        design_flow_m3h=curve.best_flow_m3h * within((0.8, 1.05)),
        design_head_m=design_head_m,
        opening_night=within((0.4, 0.65)),
        opening_day=within((0.75, 0.95)),
        weather_gain=within(family.weather_gain),
        wander=within(family.wander),
        fluid=fluid,
        glycol_mass_pct=0.0 if fluid == "water" else within((20.0, 40.0)),
        fluid_temperature_c=within(family.fluid_temperature_c),
        temperature_wander_c=within(family.temperature_wander_c),
    )


def _curve(family: Family, rng: np.random.Generator) -> CurveSpec:
    flow, head = float(rng.uniform(*family.best_flow_m3h)), float(rng.uniform(*family.best_head_m))
    efficiency = float(rng.uniform(0.5, 0.78))
    return CurveSpec(
        rated_speed_rpm=float(rng.choice((1450.0, 2900.0, 3500.0))),
        best_flow_m3h=flow,
        best_head_m=head,
        best_efficiency=efficiency,
        droop=float(rng.uniform(*family.droop)),
        droop_exponent=float(rng.uniform(*family.droop_exponent)),
        zero_flow_power=float(rng.uniform(*family.zero_flow_power)),
        efficiency_exponent=float(rng.uniform(*family.efficiency_exponent)),
        reynolds_exponent=float(rng.uniform(*family.reynolds_exponent)),
        rated_power_w=998.0 * 9.81 * flow / 3600 * head / efficiency * float(rng.uniform(1.2, 1.6)),
    )


def _control(mode: Mode, design_head_m: float, rng: np.random.Generator) -> ControlSpec:
    is_part_time = rng.random() < 0.3
    hours = (
        {"on_from_h": float(rng.integers(4, 8)), "on_until_h": float(rng.integers(18, 23))}
        if is_part_time
        else {}
    )
    setpoint = design_head_m if "pressure" in mode else float(rng.uniform(0.8, 0.95))
    setback = float(rng.uniform(0.7, 1.0)) if rng.random() < 0.4 else 1.0
    return ControlSpec(
        mode=mode,
        setpoint=setpoint,
        lowest_speed=float(rng.uniform(0.3, 0.5)),
        night_setback=setback,
        **hours,
    )
