"""Physics of its own for odd pumps: simpler than the simulator's, and sharing none of its habits.

Head and power are polynomials in the flow share ``x = Q / (Qd s)`` at the speed share ``s``; a step, a
range or a cut-off of a sensor is a property of the sensor, and what a drive does to its registers comes last.
Truth and detector share the affinity laws alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from collector.quantities import QUANTITY_NAMES

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

DAY_MS: Final = 86_400_000
START_UTC_MS: Final = 1_767_225_600_000
"""2026-01-01, as for the other fleets."""

_WATER_W_PER_M_M3H: Final = 998.2 * 9.80665 / 3600
_IDLE_W: Final = 8.0
"""What a drive takes while its pump stands still (an invented small one)."""


_SPEED_JITTER: Final = 0.0002
"""How far a drive's speed register trembles about what the drive holds [-] (our own choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """The times of all readings: [ms UTC], days since the start [d] and hour of the day [h]."""

    time_utc_ms: NDArray[np.int64]

    @property
    def day(self) -> FloatArray:
        """Return days since the start [d], with their fractions."""
        return (self.time_utc_ms - START_UTC_MS) / DAY_MS

    @property
    def hour(self) -> FloatArray:
        """Return the hour of the day [h], 0 to 24."""
        return self.day % 1.0 * 24.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pump:
    """What a pump can do at rated speed: ``head = shutoff (1 + linear x + quadratic x²)`` [m]."""

    rated_speed_rpm: float = 2900.0
    shutoff_head_m: float
    duty_flow_m3h: float
    linear: float = 0.0
    quadratic: float = -1 / 3
    efficiency: float = 0.62
    zero_flow_power: float = 0.45

    def head_m(self, speed: FloatArray, flow: FloatArray) -> FloatArray:
        """Return the head [m] at these shares of rated speed and of the duty's flow/speed [-]."""
        return self.shutoff_head_m * speed**2 * (1 + self.linear * flow + self.quadratic * flow**2)

    def power_w(self, speed: FloatArray, flow: FloatArray) -> FloatArray:
        """Return the electrical power [W], with a small loss that grows with speed and one that does not."""
        duty_head_m = self.shutoff_head_m * (1 + self.linear + self.quadratic)
        shaft_w = _WATER_W_PER_M_M3H * duty_head_m * self.duty_flow_m3h / self.efficiency
        bent = self.zero_flow_power + (1 - self.zero_flow_power) * flow
        return shaft_w * (speed**3 * bent + 0.03 * speed + 0.02)


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """What is asked of a pump, reading by reading: speed and flow/speed as shares of rated [-], running."""

    speed: FloatArray
    flow: FloatArray
    runs: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensors:
    """How the four values are read; noise, drift, cut-off and range as shares of the pump's own scale [-]."""

    noise: float = 0.004
    drift: float = 0.003
    speed_step_rpm: float = 1.0
    flow_step_m3h: float = 0.1
    head_step_m: float = 0.1
    power_step_w: float = 1.0
    flow_cut_off: float = 0.0
    flow_range: float = np.inf


@dataclass(slots=True, kw_only=True)
class Signals:
    """The four values as they truly are, to be changed in place by what happens to pump or sensors."""

    pump: Pump
    speed_rpm: FloatArray
    flow_m3h: FloatArray
    head_m: FloatArray
    power_w: FloatArray
    runs: BoolArray


def signals_of(pump: Pump, duty: Duty) -> Signals:
    """Return what the pump truly does at the duty asked of it."""
    still = ~duty.runs
    values = Signals(
        pump=pump,
        speed_rpm=pump.rated_speed_rpm * duty.speed,
        flow_m3h=pump.duty_flow_m3h * duty.speed * duty.flow,
        head_m=pump.head_m(duty.speed, duty.flow),
        power_w=pump.power_w(duty.speed, duty.flow),
        runs=duty.runs,
    )
    for name in ("speed_rpm", "flow_m3h", "head_m"):
        getattr(values, name)[still] = 0.0
    values.power_w[still] = _IDLE_W
    return values


def wandering(rng: np.random.Generator, day: FloatArray, every_days: float, memory: float) -> FloatArray:
    """Return an autoregressive wander of standard deviation 1: steps ``every_days``, joined by lines."""
    count = int(day[-1] / every_days) + 2
    pushes = rng.normal(size=count) * np.sqrt(1 - memory**2)
    values = [float(rng.normal())]
    for push in pushes[1:]:
        values.append(memory * values[-1] + float(push))
    return np.asarray(np.interp(day, np.arange(count) * every_days, values), dtype=np.float64)


def read(pump: Pump, sensors: Sensors, true: Signals, clock: Clock, rng: np.random.Generator) -> pd.DataFrame:
    """Return the readings of true values: index ``time_utc_ms``, a column for each quantity."""

    def seen(values: FloatArray, scale: float) -> FloatArray:
        drift = 1 + sensors.drift * wandering(rng, clock.day, 1.0, 0.6)
        noise = sensors.noise * scale * rng.normal(size=len(values))
        return np.asarray(np.where(true.runs, values * drift + noise, values), dtype=np.float64)

    frame = pd.DataFrame(
        {name: np.full(len(clock.time_utc_ms), np.nan) for name in QUANTITY_NAMES},
        index=pd.Index(clock.time_utc_ms, name="time_utc_ms"),
    )
    flow = seen(true.flow_m3h, pump.duty_flow_m3h)
    flow[true.flow_m3h < sensors.flow_cut_off * pump.duty_flow_m3h] = 0.0
    flow = np.clip(flow, 0.0, sensors.flow_range * pump.duty_flow_m3h)
    power = seen(true.power_w, 0.5 * float(true.power_w.max()))
    jitter = np.where(true.runs, _SPEED_JITTER * rng.normal(size=len(flow)), 0.0)
    frame["speed_rpm"] = _stepped(true.speed_rpm * (1 + jitter), sensors.speed_step_rpm)
    frame["flow_m3h"] = _stepped(flow, sensors.flow_step_m3h)
    frame["head_m"] = _stepped(seen(true.head_m, pump.shutoff_head_m), sensors.head_step_m)
    frame["power_w"] = _stepped(np.maximum(power, 0.0), sensors.power_step_w)
    return frame


def _stepped(values: FloatArray, step: float) -> FloatArray:
    return np.asarray(np.round(values / step) * step, dtype=np.float64)
