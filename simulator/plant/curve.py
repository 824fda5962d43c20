"""Head and power of a pump at any speed: a curve shape, the affinity laws, and their small departures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulator.plant.arrays import STANDARD_GRAVITY_M_S2, BoolArray, FloatArray
from simulator.plant.fluids import REFERENCE_DENSITY_KG_M3
from simulator.plant.spec import CurveSpec

_IDLE_LOSS = 0.02
_SPEED_LOSS = 0.03
_LOAD_LOSS = 0.07
"""Motor and drive losses as shares of rated power: always, with speed, with load squared.

Together 12 % at full load, as premium motors of a few kilowatts and their drives lose (common practice).
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What the pump's state and its fluid do to its curve, each an array or a number that broadcasts."""

    head_factor: FloatArray
    power_factor: FloatArray
    leak: FloatArray
    """Internal leakage as a share of the best flow, at the same share of speed."""
    density_kg_m3: FloatArray
    viscosity_ratio: FloatArray
    drag_w: FloatArray
    """Extra shaft power at rated speed."""

    def at(self, mask: BoolArray) -> Condition:
        """Return the condition of the chosen instants only."""
        return Condition(
            head_factor=self.head_factor[mask],
            power_factor=self.power_factor[mask],
            leak=self.leak[mask],
            density_kg_m3=self.density_kg_m3[mask],
            viscosity_ratio=self.viscosity_ratio[mask],
            drag_w=self.drag_w[mask],
        )


def as_new(count: int) -> Condition:
    """Return the condition of a pump as its maker drew it: no fault, water at 20 C."""
    ones, zeros = np.ones(count), np.zeros(count)
    return Condition(
        head_factor=ones,
        power_factor=ones,
        leak=zeros,
        density_kg_m3=np.full(count, REFERENCE_DENSITY_KG_M3),
        viscosity_ratio=ones,
        drag_w=zeros,
    )


def leak_for_head_loss(curve: CurveSpec, loss: FloatArray) -> FloatArray:
    """Return the internal leakage (share of best flow) that takes this share of head at the best point."""
    grown: FloatArray = (1.0 + loss * (1.0 - curve.droop) / curve.droop) ** (1.0 / curve.droop_exponent)
    return grown - 1.0


def efficiency_at_speed(efficiency: FloatArray | float, speed: FloatArray | float) -> FloatArray | float:
    """Carry an efficiency over to another share of rated speed: ``1 - (1 - e) (1/s)^0.1``.

    The form EPANET 2.2 uses (Sarbu and Borza 1998).
    """
    return 1.0 - (1.0 - efficiency) * (1.0 / speed) ** 0.1


def _reynolds(curve: CurveSpec, speed: FloatArray, condition: Condition) -> FloatArray:
    if curve.reynolds_exponent == 0:
        return np.ones(len(speed))
    factor: FloatArray = (speed / condition.viscosity_ratio) ** curve.reynolds_exponent
    return factor


def head_m(curve: CurveSpec, flow: FloatArray, speed: FloatArray, condition: Condition) -> FloatArray:
    """Return the head [m] at a flow [m3/h] and a share of rated speed."""
    head, _ = head_and_slope(curve, flow, speed, condition)
    return head


def head_and_slope(
    curve: CurveSpec, flow: FloatArray, speed: FloatArray, condition: Condition
) -> tuple[FloatArray, FloatArray]:
    """Return head [m] and its derivative by flow [m/(m3/h)]."""
    shutoff_m = curve.best_head_m / (1.0 - curve.droop)
    y = np.maximum(flow / (curve.best_flow_m3h * speed), 0.0) + condition.leak
    bent = y ** (curve.droop_exponent - 1.0)
    scale = shutoff_m * condition.head_factor * _reynolds(curve, speed, condition)
    head = scale * speed**2 * (1.0 - curve.droop * bent * y)
    slope = -scale * speed * curve.droop * curve.droop_exponent * bent / curve.best_flow_m3h
    return head, slope


def _power_bend(curve: CurveSpec) -> float:
    """Return the bend of the power curve that puts the best efficiency at the best point."""
    rise = 1.0 - curve.droop * curve.droop_exponent / (1.0 - curve.droop)
    return 1.0 - rise / (1.0 - curve.zero_flow_power)


def best_shaft_power_w(curve: CurveSpec) -> float:
    """Return the shaft power at the best point and rated speed, in water at 20 C [W]."""
    hydraulic = (
        REFERENCE_DENSITY_KG_M3 * STANDARD_GRAVITY_M_S2 * curve.best_flow_m3h / 3600 * curve.best_head_m
    )
    return hydraulic / curve.best_efficiency


def _speed_factor(curve: CurveSpec, speed: FloatArray) -> FloatArray:
    """Return how much more shaft power than the cube law a slower pump takes, from its lower efficiency."""
    if curve.efficiency_exponent == 0:
        return np.ones(len(speed))
    carried = 1.0 - (1.0 - curve.best_efficiency) * (1.0 / speed) ** curve.efficiency_exponent
    factor: FloatArray = curve.best_efficiency / carried
    return factor


def shaft_power_w(curve: CurveSpec, flow: FloatArray, speed: FloatArray, condition: Condition) -> FloatArray:
    """Return the power at the shaft [W]."""
    y = np.maximum(flow / (curve.best_flow_m3h * speed), 0.0) + condition.leak
    zero, bend = curve.zero_flow_power, _power_bend(curve)
    # Beyond its top the parabola would fall; real power curves of such pumps flatten there.
    y = np.minimum(y, _flat_from(bend))
    shape = zero + (1.0 - zero) * ((1.0 + bend) * y - bend * y**2)
    watts = best_shaft_power_w(curve) * shape * speed**3 * _speed_factor(curve, speed)
    thick = condition.viscosity_ratio**0.01
    return watts * condition.power_factor * condition.density_kg_m3 / REFERENCE_DENSITY_KG_M3 * thick + (
        condition.drag_w * speed
    )


def _flat_from(bend: float) -> float:
    return (1.0 + bend) / (2.0 * bend) if bend > 0 else np.inf


def input_power_w(curve: CurveSpec, shaft_w: FloatArray, speed: FloatArray) -> FloatArray:
    """Return the electrical input at the drive [W] for a power at the shaft."""
    rated = curve.rated_power_w
    return shaft_w + rated * (_IDLE_LOSS + _SPEED_LOSS * speed) + _LOAD_LOSS * shaft_w**2 / rated


def shaft_from_input_w(curve: CurveSpec, power_w: FloatArray, speed: FloatArray) -> FloatArray:
    """Return the power at the shaft [W], the inverse of :func:`input_power_w`."""
    rated = curve.rated_power_w
    useful = np.maximum(power_w - rated * (_IDLE_LOSS + _SPEED_LOSS * speed), 0.0)
    shaft: FloatArray = rated / (2 * _LOAD_LOSS) * (np.sqrt(1.0 + 4.0 * _LOAD_LOSS * useful / rated) - 1.0)
    return shaft


def estimated_flow_m3h(curve: CurveSpec, power_w: FloatArray, speed: FloatArray) -> FloatArray:
    """Return the flow a drive reads off its built-in power curve, as new and in water at 20 C [m3/h]."""
    shape = shaft_from_input_w(curve, power_w, speed) / (
        best_shaft_power_w(curve) * speed**3 * _speed_factor(curve, speed)
    )
    zero, bend = curve.zero_flow_power, _power_bend(curve)
    risen = np.clip((shape - zero) / (1.0 - zero), 0.0, None)
    if abs(bend) < 1e-9:
        y = risen
    else:
        y = ((1.0 + bend) - np.sqrt(np.maximum((1.0 + bend) ** 2 - 4.0 * bend * risen, 0.0))) / (2.0 * bend)
    return y * curve.best_flow_m3h * speed
