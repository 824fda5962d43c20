"""The demo site: the swimming hall of Tarnholme, a place of our own invention, and what goes wrong there.

All times of faults count back from the moment the live run begins, so that the history holds healthy
weeks enough to learn from, and something is to be seen on the first day.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final, Literal

from simulator.gauges import GaugeTaps
from simulator.plant import ControlSpec, CurveSpec, Fault, PumpSpec, SensorSpec, SystemSpec
from simulator.plant.arrays import DAY_MS, HOUR_MS

MINUTE_MS: Final = 60_000
BusKind = Literal["serial", "tcp", "rtu_over_tcp"]
LogUnits = Literal["SI", "US"]


@dataclass(frozen=True, slots=True, kw_only=True)
class HallPump:
    """A pump of the hall: its physics, where it is reached, and the units its trend log is written in."""

    spec: PumpSpec
    bus: str
    unit_id: int
    map: str
    log_units: LogUnits = "SI"
    taps: GaugeTaps | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HallBus:
    """A line or a gateway of the hall."""

    name: str
    kind: BusKind
    baud: int = 19200


BUSES: Final = (
    HallBus(name="plant_room", kind="serial", baud=19200),
    HallBus(name="filter_hall", kind="rtu_over_tcp", baud=38400),
    HallBus(name="roof", kind="tcp"),
)


def hall_pumps(start_utc_ms: int) -> tuple[HallPump, ...]:
    """Return the pumps of the hall with their faults timed to a live run that begins at this instant."""
    pumps = [make(start_utc_ms) for make in _MAKERS]
    return tuple(pumps)


def _morning(time_utc_ms: int) -> int:
    """Return ten o'clock of the day before: when people are in the plant room."""
    return time_utc_ms // DAY_MS * DAY_MS - 14 * HOUR_MS


def _curve(flow_m3h: float, head_m: float, power_w: float, **shape: float) -> CurveSpec:
    return replace(
        CurveSpec(best_flow_m3h=flow_m3h, best_head_m=head_m, rated_power_w=power_w), **shape
    )  # fmt: skip


def _main_pool(start: int) -> HallPump:
    air = Fault(
        kind="air", start_utc_ms=start - 16 * DAY_MS, end_utc_ms=start - 14 * DAY_MS, severity=0.05,
        period_s=2700.0,
    )  # fmt: skip
    return HallPump(
        spec=PumpSpec(
            name="main_pool_circulation",
            curve=_curve(120.0, 14.0, 7500.0, rated_speed_rpm=1460.0, best_efficiency=0.78),
            system=SystemSpec(
                design_flow_m3h=118.0, design_head_m=11.5, opening_night=0.75, opening_day=0.92, wander=0.05,
                fluid_temperature_c=28.0, temperature_wander_c=0.4,
            ),
            control=ControlSpec(mode="constant_speed", setpoint=0.9, night_setback=0.85),
            sensor=SensorSpec(power_step_w=10.0),
            faults=(air,),
        ),
        bus="filter_hall", unit_id=1, map="A",
    )  # fmt: skip


def _diving_pool(start: int) -> HallPump:
    worn = Fault(kind="ring_leakage", start_utc_ms=start - 24 * DAY_MS, ramp_s=8 * 86_400, severity=0.09)
    return HallPump(
        spec=PumpSpec(
            name="diving_pool_circulation",
            curve=_curve(85.0, 13.0, 5500.0, rated_speed_rpm=1460.0, best_efficiency=0.76, droop=0.28),
            system=SystemSpec(
                design_flow_m3h=84.0, design_head_m=10.5, opening_night=0.6, opening_day=0.92, wander=0.08,
                fluid_temperature_c=28.0, temperature_wander_c=0.4,
            ),
            control=ControlSpec(mode="constant_speed", setpoint=0.88),
            sensor=SensorSpec(slow_bias=0.002),
            faults=(worn,),
        ),
        bus="filter_hall", unit_id=2, map="E",
    )  # fmt: skip


def _teaching_pool(_: int) -> HallPump:
    return HallPump(
        spec=PumpSpec(
            name="teaching_pool_circulation",
            curve=_curve(40.0, 12.0, 2200.0, best_efficiency=0.72),
            system=SystemSpec(
                design_flow_m3h=38.0, design_head_m=8.0, opening_night=0.6, fluid_temperature_c=31.0,
                temperature_wander_c=0.5,
            ),
            control=ControlSpec(mode="constant_differential_pressure", setpoint=7.5),
        ),
        bus="filter_hall", unit_id=3, map="A", log_units="US",
    )  # fmt: skip


def _warm_pool(start: int) -> HallPump:
    shut = Fault(kind="closed_discharge", start_utc_ms=start - 50 * MINUTE_MS)
    return HallPump(
        spec=PumpSpec(
            name="warm_pool_circulation",
            curve=_curve(30.0, 11.0, 1500.0, droop=0.22, zero_flow_power=0.5),
            system=SystemSpec(design_flow_m3h=29.0, design_head_m=8.5, fluid_temperature_c=34.0),
            control=ControlSpec(mode="constant_speed", setpoint=0.92),
            faults=(shut,),
        ),
        bus="plant_room", unit_id=11, map="A",
    )  # fmt: skip


def _heating_main(_: int) -> HallPump:
    return HallPump(
        spec=PumpSpec(
            name="heating_main",
            curve=_curve(55.0, 10.0, 3000.0, best_efficiency=0.74, droop_exponent=2.2),
            system=SystemSpec(
                design_flow_m3h=54.0, design_head_m=8.0, opening_night=0.6, opening_day=0.75,
                weather_gain=0.006, fluid_temperature_c=62.0, temperature_wander_c=3.0,
            ),
            control=ControlSpec(
                mode="outside_reference", setpoint=1.0, lowest_speed=0.55, night_setback=0.85
            ),
        ),
        bus="plant_room", unit_id=12, map="B",
    )  # fmt: skip


def _radiators(_: int) -> HallPump:
    return HallPump(
        spec=PumpSpec(
            name="radiator_circuit",
            curve=_curve(14.0, 9.0, 700.0, best_efficiency=0.62),
            system=SystemSpec(
                design_flow_m3h=13.0, design_head_m=7.0, opening_night=0.7, weather_gain=0.004,
                fluid_temperature_c=58.0, temperature_wander_c=2.0,
            ),
            control=ControlSpec(mode="proportional_pressure", setpoint=6.0, night_setback=0.85),
            sensor=SensorSpec(provenance="estimated", flow_step_m3h=0.05, head_step_m=0.05),
        ),
        bus="plant_room", unit_id=13, map="D",
    )  # fmt: skip


def _domestic_hot_water(start: int) -> HallPump:
    repaired = start - 4 * DAY_MS
    repair = Fault(kind="off_bus", start_utc_ms=repaired - 6 * HOUR_MS, end_utc_ms=repaired, severity=1.0)
    air = Fault(kind="air", start_utc_ms=repaired, severity=0.05, period_s=2700.0)
    return HallPump(
        spec=PumpSpec(
            name="hot_water_charging",
            curve=_curve(18.0, 11.0, 1100.0, best_efficiency=0.66),
            system=SystemSpec(
                design_flow_m3h=17.0, design_head_m=8.5, opening_night=0.5, fluid_temperature_c=55.0,
                temperature_wander_c=2.0,
            ),
            control=ControlSpec(mode="constant_speed", setpoint=0.85),
            faults=(repair, air),
        ),
        bus="plant_room", unit_id=14, map="B",
    )  # fmt: skip


def _air_handling(start: int) -> HallPump:
    eaten = Fault(kind="impeller_wear", start_utc_ms=start - 20 * DAY_MS, ramp_s=10 * 86_400, severity=0.08)
    taps = GaugeTaps(
        suction_bar=1.6, suction_height_m=0.4, discharge_height_m=1.2,
        visits_utc_ms=tuple(_morning(start - days * DAY_MS) for days in (45, 3)),
    )  # fmt: skip
    return HallPump(
        spec=PumpSpec(
            name="air_handling_coil",
            curve=_curve(22.0, 10.0, 1100.0),
            system=SystemSpec(
                design_flow_m3h=21.0, design_head_m=7.5, opening_night=0.65, weather_gain=0.003,
                fluid_temperature_c=50.0, temperature_wander_c=2.0,
            ),
            control=ControlSpec(mode="outside_reference", setpoint=1.0, lowest_speed=0.4),
            sensor=SensorSpec(provenance="estimated", has_fluid_temperature=False),
            faults=(eaten,),
        ),
        bus="roof", unit_id=1, map="C", taps=taps,
    )  # fmt: skip


def _surge_tank(start: int) -> HallPump:
    trips = Fault(kind="trip_and_restart", start_utc_ms=start - 2 * DAY_MS, period_s=430.0, code=21)
    return HallPump(
        spec=PumpSpec(
            name="surge_tank_transfer",
            curve=_curve(45.0, 9.0, 2200.0, best_efficiency=0.73, droop=0.3),
            system=SystemSpec(
                static_head_m=2.5, design_flow_m3h=44.0, design_head_m=7.0, fluid_temperature_c=28.0,
                temperature_wander_c=0.5,
            ),
            control=ControlSpec(mode="constant_speed", setpoint=0.95),
            faults=(trips,),
        ),
        bus="filter_hall", unit_id=4, map="A",
    )  # fmt: skip


def _floor_heating(start: int) -> HallPump:
    opened = Fault(kind="system_opened", start_utc_ms=start - 16 * DAY_MS, severity=0.5)
    return HallPump(
        spec=PumpSpec(
            name="floor_heating",
            curve=_curve(26.0, 8.0, 1100.0, best_efficiency=0.7),
            system=SystemSpec(
                design_flow_m3h=25.0, design_head_m=6.0, opening_night=0.55, opening_day=0.65, wander=0.04,
                fluid_temperature_c=38.0,
            ),
            control=ControlSpec(mode="constant_differential_pressure", setpoint=5.0),
            faults=(opened,),
        ),
        bus="plant_room", unit_id=15, map="D",
    )  # fmt: skip


def _chilled_glycol(_: int) -> HallPump:
    return HallPump(
        spec=PumpSpec(
            name="dehumidifier_glycol",
            curve=_curve(35.0, 13.0, 2200.0, best_efficiency=0.7),
            system=SystemSpec(
                design_flow_m3h=33.0, design_head_m=9.5, fluid="propylene_glycol", glycol_mass_pct=30.0,
                fluid_temperature_c=9.0, temperature_wander_c=1.0,
            ),
            control=ControlSpec(mode="constant_differential_pressure", setpoint=8.5),
        ),
        bus="roof", unit_id=2, map="D", log_units="US",
    )  # fmt: skip


def _backwash(_: int) -> HallPump:
    return HallPump(
        spec=PumpSpec(
            name="backwash_water_lift",
            curve=_curve(24.0, 18.0, 2200.0, best_efficiency=0.67, droop=0.33),
            system=SystemSpec(
                static_head_m=7.0, design_flow_m3h=23.0, design_head_m=14.0, fluid_temperature_c=16.0,
                temperature_wander_c=2.0,
            ),
            control=ControlSpec(mode="constant_speed", setpoint=0.95, on_from_h=6.0, on_until_h=22.0),
        ),
        bus="roof", unit_id=3, map="E",
    )  # fmt: skip


def _showers(start: int) -> HallPump:
    silent = Fault(kind="off_bus", start_utc_ms=start - 12 * DAY_MS, period_s=5400.0, severity=0.22)
    return HallPump(
        spec=PumpSpec(
            name="shower_circulation",
            curve=_curve(10.0, 8.0, 500.0, best_efficiency=0.58),
            system=SystemSpec(
                design_flow_m3h=9.0, design_head_m=6.0, opening_night=0.7, wander=0.05,
                fluid_temperature_c=52.0,
            ),
            control=ControlSpec(mode="proportional_pressure", setpoint=5.0, night_setback=0.8),
            sensor=SensorSpec(provenance="estimated", flow_step_m3h=0.05, head_step_m=0.05),
            faults=(silent,),
        ),
        bus="plant_room", unit_id=16, map="C",
    )  # fmt: skip


_MAKERS: Final[tuple[Callable[[int], HallPump], ...]] = (
    _main_pool,
    _diving_pool,
    _teaching_pool,
    _warm_pool,
    _heating_main,
    _radiators,
    _domestic_hot_water,
    _air_handling,
    _surge_tank,
    _floor_heating,
    _chilled_glycol,
    _backwash,
    _showers,
)
