"""Where the pump meets its system, and the speed that its control asks for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulator.plant.arrays import FloatArray
from simulator.plant.curve import (
    Condition,
    as_new,
    estimated_flow_m3h,
    head_and_slope,
    head_m,
    input_power_w,
    shaft_power_w,
)
from simulator.plant.spec import PumpSpec

_NEWTON_STEPS = 7
_CONTROL_STEPS = 7
_WARM_STEPS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """The running point at each instant: share of rated speed, flow, head and input power."""

    speed: FloatArray
    flow_m3h: FloatArray
    head_m: FloatArray
    power_w: FloatArray


def meet(
    spec: PumpSpec,
    speed: FloatArray,
    resistance: FloatArray,
    condition: Condition,
    start: FloatArray | None = None,
    steps: int = _NEWTON_STEPS,
) -> FloatArray:
    """Return the flow [m3/h] at which pump head equals static head plus resistance times flow squared.

    The difference falls steadily and is concave, so Newton from the right converges without overshoot.
    A pump that can't lift the static head gives no flow: a check valve stands behind it.
    """
    static = spec.system.static_head_m
    shut, _ = head_and_slope(spec.curve, np.zeros(len(speed)), speed, condition)
    lift = np.maximum(shut - static, 0.0)
    if start is None:
        start = np.minimum(np.sqrt(lift / resistance), 2.0 * spec.curve.best_flow_m3h * speed)
    flow = start
    for _ in range(steps):
        head, slope = head_and_slope(spec.curve, flow, speed, condition)
        gap = head - static - resistance * flow**2
        flow = np.maximum(flow - gap / (slope - 2.0 * resistance * flow - 1e-12), 0.0)
    return np.where(lift > 0, flow, 0.0)


def input_at(spec: PumpSpec, flow: FloatArray, speed: FloatArray, condition: Condition) -> FloatArray:
    """Return the drive's input power [W] at a point."""
    return input_power_w(spec.curve, shaft_power_w(spec.curve, flow, speed, condition), speed)


def seen_by_drive(
    spec: PumpSpec, speed: FloatArray, flow: FloatArray, condition: Condition
) -> tuple[FloatArray, FloatArray]:
    """Return flow and head as the drive knows them: true, or read off its built-in curve from power."""
    if spec.sensor.provenance == "measured":
        return flow, head_m(spec.curve, flow, speed, condition)
    estimate = estimated_flow_m3h(spec.curve, input_at(spec, flow, speed, condition), speed)
    return estimate, head_m(spec.curve, estimate, speed, as_new(len(speed)))


def wanted_head_m(spec: PumpSpec, setpoint: FloatArray, flow: FloatArray) -> FloatArray:
    """Return the head that the control asks for at a flow; proportional: half of it at no flow."""
    if spec.control.mode == "constant_differential_pressure":
        return setpoint
    share = np.minimum(flow / spec.system.design_flow_m3h, 1.2)
    return setpoint * (0.5 + 0.5 * share)


def pressure_duty_speed(
    spec: PumpSpec, setpoint: FloatArray, resistance: FloatArray, condition: Condition
) -> FloatArray:
    """Return the share of rated speed at which the head the drive sees is the head it wants.

    Fixed point: along a system curve head goes with the square of speed, so each step is nearly exact.
    """
    control = spec.control
    speed = np.full(len(setpoint), 0.5 * (control.lowest_speed + control.highest_speed))
    flow: FloatArray | None = None
    for _ in range(_CONTROL_STEPS):
        flow = meet(spec, speed, resistance, condition, flow, _NEWTON_STEPS if flow is None else _WARM_STEPS)
        seen_flow, seen_head = seen_by_drive(spec, speed, flow, condition)
        wanted = wanted_head_m(spec, setpoint, seen_flow)
        factor = np.sqrt(wanted / np.maximum(seen_head, 0.05))
        speed = np.clip(speed * np.clip(factor, 0.6, 1.6), control.lowest_speed, control.highest_speed)
    return speed


def run_at(spec: PumpSpec, speed: FloatArray, resistance: FloatArray, condition: Condition) -> Duty:
    """Return the running point at a given speed."""
    flow = meet(spec, speed, resistance, condition)
    return Duty(
        speed=speed,
        flow_m3h=flow,
        head_m=head_m(spec.curve, flow, speed, condition),
        power_w=input_at(spec, flow, speed, condition),
    )
