"""A pump moved through time: control, counters, sensors, and the same however time is cut."""

from __future__ import annotations

import numpy as np
import pytest

from simulator.plant import ControlSpec, CurveSpec, Fault, PumpSpec, SensorSpec, SystemSpec, build_pump
from simulator.plant.spec import Mode, Provenance

START = 1_760_000_000_000
MODES: tuple[Mode, ...] = (
    "constant_speed", "constant_differential_pressure", "proportional_pressure", "outside_reference",
)  # fmt: skip


def minutes(days: float, step_s: int = 60) -> np.ndarray:
    return START + 1000 * np.arange(0, int(days * 86_400), step_s, dtype=np.int64)


def spec_of(mode: Mode, provenance: Provenance = "measured", **more: object) -> PumpSpec:
    setpoint = 6.0 if "pressure" in mode else 0.9
    return PumpSpec(
        control=ControlSpec(mode=mode, setpoint=setpoint), sensor=SensorSpec(provenance=provenance), **more
    )  # type: ignore[arg-type]


@pytest.mark.parametrize("provenance", ["measured", "estimated"])
@pytest.mark.parametrize("mode", MODES)
def test_wire_to_water_efficiency_is_that_of_a_real_pump(mode: Mode, provenance: Provenance) -> None:
    """Common practice: a circulator of a kilowatt lies between 40 and 65 % over a week."""
    true = build_pump(spec_of(mode, provenance), 1).advance(minutes(7)).true
    hydraulic_w = 998.0 * 9.80665 * true["flow_m3h"] / 3600 * true["head_m"]
    assert 0.40 < hydraulic_w.sum() / true["power_w"].sum() < 0.65


@pytest.mark.parametrize("mode", MODES)
def test_the_duty_point_lies_on_the_system_curve(mode: Mode) -> None:
    true = build_pump(spec_of(mode), 1).advance(minutes(2)).true
    assert np.abs(true["head_m"] - true["resistance"] * true["flow_m3h"] ** 2).max() < 1e-9


@pytest.mark.parametrize("provenance", ["measured", "estimated"])
def test_constant_differential_pressure_holds_the_head_that_the_drive_sees(provenance: Provenance) -> None:
    spec = spec_of("constant_differential_pressure", provenance)
    head = build_pump(spec, 1).advance(minutes(3)).reported["head_m"]
    assert np.median(head) == pytest.approx(6.0, abs=0.15)
    assert head.std() < 0.12


def test_proportional_pressure_asks_for_half_the_head_at_no_flow() -> None:
    spec = spec_of("proportional_pressure")
    true = build_pump(spec, 1).advance(minutes(3)).true
    wanted = 6.0 * (0.5 + 0.5 * true["flow_m3h"] / spec.system.design_flow_m3h)
    assert true["head_m"] == pytest.approx(wanted, rel=2e-3)


def test_an_outside_reference_sets_the_speed() -> None:
    reported = build_pump(spec_of("outside_reference"), 1).advance(minutes(3)).reported
    speed = 2900.0 * (0.3 + 0.7 * reported["speed_command_pct"] / 100.0)
    assert reported["speed_rpm"] == pytest.approx(speed, rel=5e-3)


def test_night_setback_slows_the_pump_from_22_to_6() -> None:
    spec = PumpSpec(control=ControlSpec(mode="constant_speed", setpoint=0.9, night_setback=0.7))
    times = minutes(2)
    speed = build_pump(spec, 1).advance(times).true["speed_rpm"]
    hour = (times / 3_600_000 + spec.utc_offset_h) % 24
    night = (hour >= 22) | (hour < 6)
    assert speed[night] == pytest.approx(0.63 * 2900)
    assert speed[~night] == pytest.approx(0.9 * 2900)


def test_a_schedule_gives_one_start_a_day_and_rest_at_night() -> None:
    spec = PumpSpec(control=ControlSpec(setpoint=0.9, on_from_h=6.0, on_until_h=22.0))
    signals = build_pump(spec, 1).advance(minutes(5))
    assert signals.reported["starts"][-1] in (5, 6)
    assert signals.reported["flow_m3h"][signals.true["speed_rpm"] == 0].max() < 0.5


def test_lead_and_lag_take_turns() -> None:
    pair = [
        build_pump(PumpSpec(name=f"p{turn}", control=ControlSpec(turn_days=1, turn=turn)), 1).advance(
            minutes(4)
        )
        for turn in (0, 1)
    ]
    running = [signals.true["speed_rpm"] > 0 for signals in pair]
    assert (running[0] ^ running[1]).all()


def test_counters_only_grow_and_energy_is_power_over_time() -> None:
    signals = build_pump(spec_of("constant_speed"), 1).advance(minutes(3))
    for name in ("energy_kwh", "run_time_h", "starts"):
        assert (np.diff(signals.true[name]) >= 0).all()
    assert signals.true["energy_kwh"][-1] == pytest.approx(signals.true["power_w"][1:].sum() / 60 / 1000)


def test_the_same_seed_gives_the_same_and_another_seed_gives_another() -> None:
    one, two, three = (build_pump(spec_of("constant_speed"), seed).advance(minutes(1)) for seed in (4, 4, 5))
    assert (one.reported["flow_m3h"] == two.reported["flow_m3h"]).all()
    assert (one.reported["flow_m3h"] != three.reported["flow_m3h"]).any()


@pytest.mark.parametrize("mode", MODES)
def test_time_in_pieces_gives_what_the_whole_gives(mode: Mode) -> None:
    frozen = Fault(kind="frozen_telemetry", start_utc_ms=START + 40_000_000, end_utc_ms=START + 50_000_000)
    spec = spec_of(mode, faults=(frozen,))
    times = minutes(1)
    whole = build_pump(spec, 1).advance(times)
    plant = build_pump(spec, 1)
    pieces = [plant.advance(part) for part in np.split(times, [1, 7, 500, 750, 751, 1200])]
    for name, values in whole.reported.items():
        joined = np.concatenate([piece.reported[name] for piece in pieces])
        # A last bit of the solver may tip a rounding: at most one step, almost nowhere.
        assert np.mean(np.isclose(joined, values, rtol=1e-9, equal_nan=True)) > 0.999, name


def test_a_fine_step_sees_the_same_world_as_a_coarse_one() -> None:
    coarse = build_pump(spec_of("constant_speed"), 1).advance(minutes(0.1, 60))
    fine = build_pump(spec_of("constant_speed"), 1).advance(minutes(0.1, 1))
    assert fine.true["flow_m3h"][::60] == pytest.approx(coarse.true["flow_m3h"])


def test_readings_come_in_the_steps_of_the_sensor() -> None:
    spec = PumpSpec(sensor=SensorSpec(flow_step_m3h=0.5, head_step_m=0.2, power_step_w=10.0))
    reported = build_pump(spec, 1).advance(minutes(1)).reported
    for name, step in (("flow_m3h", 0.5), ("head_m", 0.2), ("power_w", 10.0)):
        assert reported[name] / step == pytest.approx(np.rint(reported[name] / step), abs=1e-6)


def test_an_estimated_point_lies_on_the_nominal_curve_whatever_the_pump_is() -> None:
    """Head over n and Q is the curve that the drive was built with, though the pump lost a tenth."""
    worn = Fault(kind="impeller_wear", start_utc_ms=0, severity=0.1)
    curve = CurveSpec(reynolds_exponent=0.0)
    sensor = SensorSpec(provenance="estimated", head_step_m=0.0, flow_step_m3h=0.0, speed_step_rpm=0.0)
    plant = build_pump(PumpSpec(curve=curve, sensor=sensor, faults=(worn,)), 1)
    signals = plant.advance(minutes(2))
    speed = signals.true["speed_rpm"] / curve.rated_speed_rpm
    y = signals.reported["flow_m3h"] / (curve.best_flow_m3h * speed)
    nominal = curve.best_head_m / 0.75 * speed**2 * (1 - 0.25 * y**2)
    assert signals.reported["head_m"] == pytest.approx(nominal, rel=1e-9)
    # ... and so it is far from the truth.
    assert np.median(signals.reported["head_m"] / signals.true["head_m"]) > 1.05


def test_a_static_head_that_cannot_be_lifted_gives_no_flow() -> None:
    spec = PumpSpec(
        control=ControlSpec(setpoint=0.5), system=SystemSpec(static_head_m=8.0, design_head_m=10.0)
    )
    assert build_pump(spec, 1).advance(minutes(0.1)).true["flow_m3h"].max() == 0.0
