"""One simulated pump that can be moved forward in time, in steps of any length."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simulator.plant import conditions, demand, sensors
from simulator.plant.arrays import BoolArray, FloatArray, TimeArray
from simulator.plant.counters import Counters
from simulator.plant.curve import Condition, as_new, head_m
from simulator.plant.duty import Duty, pressure_duty_speed, run_at, seen_by_drive
from simulator.plant.noise import key_of, white
from simulator.plant.spec import PumpSpec
from simulator.plant.timetable import Timetable

_STANDBY_W = 8.0
_MAINS_V_TIMES_POWER_FACTOR = 1.732 * 400.0 * 0.92
STATUS_RUNNING, STATUS_FAULT, STATUS_READY = 1, 2, 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Signals:
    """What a pump did at the asked times: as reported by its drive, in truth, and whether it answered.

    Both dictionaries have arrays of the length of the times, by canonical name (``speed_rpm``, ...).
    A quantity that the drive does not have is not a number (NaN) throughout.
    """

    reported: dict[str, FloatArray]
    true: dict[str, FloatArray]
    on_bus: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Moment:
    """Everything that is given before the pump turns."""

    running: BoolArray
    condition: Condition
    resistance: FloatArray
    opening: FloatArray
    temperature_c: FloatArray
    setpoint: FloatArray
    factor: FloatArray


class PumpPlant:
    """A pump with its system, control, drive and sensors."""

    def __init__(self, spec: PumpSpec, seed: int) -> None:
        self.spec = spec
        self.seed = seed
        self._table = Timetable(spec, seed)
        self._counters = Counters()
        self._held: dict[str, float] | None = None

    def advance(self, times_utc_ms: TimeArray) -> Signals:
        """Move to each of the times and return what happened; times ascend, also from call to call.

        Counters and frozen telemetry carry over from one call to the next; everything else is a function
        of time, so that pieces give what the whole gives.
        """
        moment = self._moment(times_utc_ms)
        duty = self._duty(moment)
        true = self._truth(duty, moment)
        true |= self._counters.count(times_utc_ms, moment.running, true["power_w"])
        reported = self._reported(times_utc_ms, true, moment)
        self._freeze(times_utc_ms, reported)
        return Signals(reported=reported, true=true, on_bus=self._table.on_bus(times_utc_ms))

    def _moment(self, times: TimeArray) -> _Moment:
        table, spec = self._table, self.spec
        valves = demand.opening(spec, self.seed, times)
        temperature = demand.fluid_temperature_c(spec, self.seed, times)
        stopped = table.stopped_by_trip(times) | table.stopped_by_staging(times)
        return _Moment(
            running=demand.scheduled_on(spec, times) & ~stopped,
            condition=conditions.condition(spec, table, temperature, times),
            resistance=conditions.resistance(spec, table, valves, times),
            opening=valves,
            temperature_c=temperature,
            setpoint=conditions.setpoint(spec, table, times),
            factor=conditions.hunting_factor(table, times),
        )

    def _speed(self, moment: _Moment, on: BoolArray, condition: Condition) -> FloatArray:
        """Return the share of rated speed where the pump runs."""
        control = self.spec.control
        if control.mode == "constant_speed":
            speed = moment.setpoint[on]
        elif control.mode == "outside_reference":
            span = control.highest_speed - control.lowest_speed
            speed = control.lowest_speed + span * self._command_share(moment)[on]
        else:
            speed = pressure_duty_speed(self.spec, moment.setpoint[on], moment.resistance[on], condition)
        return np.clip(speed * moment.factor[on], 0.05, 1.1)

    def _command_share(self, moment: _Moment) -> FloatArray:
        """Return the outside reference, 0 to 1: what a building controller makes of the demand."""
        asked = moment.opening * moment.setpoint / self.spec.control.setpoint
        return np.clip((asked - 0.2) / 0.9, 0.0, 1.0)

    def _duty(self, moment: _Moment) -> Duty:
        on = moment.running
        condition = moment.condition.at(on)
        ran = run_at(self.spec, self._speed(moment, on, condition), moment.resistance[on], condition)
        return Duty(
            speed=_spread(on, ran.speed, 0.0),
            flow_m3h=_spread(on, ran.flow_m3h, 0.0),
            head_m=_spread(on, ran.head_m, 0.0),
            power_w=_spread(on, ran.power_w, _STANDBY_W),
        )

    def _truth(self, duty: Duty, moment: _Moment) -> dict[str, FloatArray]:
        return {
            "speed_rpm": duty.speed * self.spec.curve.rated_speed_rpm,
            "power_w": duty.power_w,
            "flow_m3h": duty.flow_m3h,
            "head_m": duty.head_m,
            "fluid_temperature_c": moment.temperature_c,
            "resistance": moment.resistance,
            "opening": moment.opening,
        }

    def _reported(
        self, times: TimeArray, true: dict[str, FloatArray], moment: _Moment
    ) -> dict[str, FloatArray]:
        sensor, spec, table = self.spec.sensor, self.spec, self._table
        flow, head = self._flow_and_head(times, true, moment)
        flow = flow * (1.0 + table.severity("flow_meter_shift", times))
        head = head + table.severity("head_gauge_shift", times) * spec.curve.best_head_m
        power = sensors.measured_power_w(self.seed, spec, times, true["power_w"])
        power = power * (1.0 + table.severity("power_reading_shift", times))
        jitter = 1.0 + 0.0003 * white(key_of(self.seed, spec.name, "speed"), times)
        return {
            "speed_rpm": sensors.stepped(true["speed_rpm"] * jitter, sensor.speed_step_rpm),
            "power_w": sensors.stepped(power, sensor.power_step_w),
            "flow_m3h": sensors.stepped(flow, sensor.flow_step_m3h),
            "head_m": sensors.stepped(head, sensor.head_step_m),
        } | self._secondary(times, true, moment, power)

    def _flow_and_head(
        self, times: TimeArray, true: dict[str, FloatArray], moment: _Moment
    ) -> tuple[FloatArray, FloatArray]:
        if self.spec.sensor.provenance == "measured":
            return (
                sensors.measured_flow_m3h(self.seed, self.spec, times, true["flow_m3h"]),
                sensors.measured_head_m(self.seed, self.spec, times, true["head_m"]),
            )
        on = moment.running
        speed = true["speed_rpm"][on] / self.spec.curve.rated_speed_rpm
        flow, _ = seen_by_drive(self.spec, speed, true["flow_m3h"][on], moment.condition.at(on))
        noise = 0.5 * self.spec.sensor.noise * self.spec.curve.best_flow_m3h
        shaken = noise * sensors.fast_noise(self.seed, self.spec, "estimate", times)[on]
        flow = np.maximum(flow + shaken, 0.0)
        head = head_m(self.spec.curve, flow, speed, as_new(len(speed)))
        return _spread(on, flow, 0.0), _spread(on, head, 0.0)

    def _secondary(
        self, times: TimeArray, true: dict[str, FloatArray], moment: _Moment, power: FloatArray
    ) -> dict[str, FloatArray]:
        sensor, missing = self.spec.sensor, np.full(len(times), np.nan)
        code = self._table.fault_code(times)
        command = np.rint(self._command_share(moment) * 1000.0) / 10.0
        outside = self.spec.control.mode == "outside_reference"
        warm = 28.0 + 18.0 * true["power_w"] / self.spec.curve.rated_power_w
        current = sensors.stepped(0.35 * moment.running + power / _MAINS_V_TIMES_POWER_FACTOR, 0.01)
        return {
            "fluid_temperature_c": sensors.stepped(true["fluid_temperature_c"], 0.1)
            if sensor.has_fluid_temperature
            else missing,
            "drive_temperature_c": sensors.stepped(warm, 1.0),
            "current_a": current if sensor.has_current else missing,
            "energy_kwh": np.floor(true["energy_kwh"] * 10.0) / 10.0 if sensor.has_counters else missing,
            "run_time_h": np.floor(true["run_time_h"]) if sensor.has_counters else missing,
            "starts": true["starts"] if sensor.has_counters else missing,
            "speed_command_pct": command if outside else missing,
            "status_word": moment.running * STATUS_RUNNING + (code > 0) * STATUS_FAULT + float(STATUS_READY),
            "fault_code": code,
        }

    def _freeze(self, times: TimeArray, reported: dict[str, FloatArray]) -> None:
        """Hold what was last reported while the telemetry is frozen, and remember it for the next call."""
        frozen = self._table.on("frozen_telemetry", times)
        if not len(times):
            return
        source = np.maximum.accumulate(np.where(frozen, -1, np.arange(len(times))))
        for name, values in reported.items():
            before = self._held[name] if self._held else values[0]
            if frozen.any():
                reported[name] = np.where(source >= 0, values[np.maximum(source, 0)], before)
        self._held = {name: float(values[-1]) for name, values in reported.items()}


def build_pump(spec: PumpSpec, seed: int) -> PumpPlant:
    """Return a pump that is at rest in time; the first :meth:`PumpPlant.advance` says when it begins."""
    return PumpPlant(spec, seed)


def _spread(on: BoolArray, values: FloatArray, elsewhere: float) -> FloatArray:
    spread = np.full(len(on), elsewhere)
    spread[on] = values
    return spread
