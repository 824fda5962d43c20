"""Each fault of the timetable leaves the signs that the trade knows it by, and none before it begins."""

from __future__ import annotations

import numpy as np
import pytest

from simulator.plant import ControlSpec, Fault, FaultKind, PumpSpec, SensorSpec, Signals, build_pump
from simulator.plant.noise import uniform, wandering, white

START = 1_760_000_000_000
HALF = START + 43_200_000
TIMES = START + 60_000 * np.arange(1440, dtype=np.int64)
STEP = 10_000 * np.arange(8640, dtype=np.int64) + START
QUIET = SensorSpec(noise=0.0, slow_bias=0.0, unit_bias=0.0, flow_step_m3h=0, head_step_m=0, power_step_w=0)


def with_fault(
    kind: FaultKind, times: np.ndarray = TIMES, control: ControlSpec | None = None, **more: float
) -> tuple[Signals, Signals]:
    """Return the pump with the fault from noon on, and the same pump without."""
    fault = Fault(kind=kind, start_utc_ms=HALF, **more)  # type: ignore[arg-type]
    control = control or ControlSpec(setpoint=0.9)
    sick = PumpSpec(sensor=QUIET, control=control, faults=(fault,))
    healthy = PumpSpec(sensor=QUIET, control=control)
    return build_pump(sick, 1).advance(times), build_pump(healthy, 1).advance(times)


def after(values: np.ndarray) -> np.ndarray:
    return values[len(values) // 2 :]


@pytest.mark.parametrize(
    "kind",
    [
        "ring_leakage", "impeller_wear", "air", "dry_running", "closed_discharge", "drag", "head_gauge_shift",
        "flow_meter_shift", "power_reading_shift", "hunting", "trip_and_restart", "short_cycling",
        "frozen_telemetry", "drive_fault", "plugging", "system_opened", "glycol_filled", "setpoint_change",
        "off_bus",
    ],
)  # fmt: skip
def test_nothing_shows_before_and_something_after(kind: FaultKind) -> None:
    sick, healthy = with_fault(kind, severity=0.3, period_s=900)
    half = len(TIMES) // 2
    changed_after = (sick.on_bus != healthy.on_bus)[half:].any()
    for name, values in healthy.reported.items():
        assert np.array_equal(sick.reported[name][:half], values[:half], equal_nan=True), name
        changed_after |= not np.array_equal(sick.reported[name][half:], values[half:], equal_nan=True)
    assert changed_after


def at_same_flow(sick: Signals, healthy: Signals, name: str) -> float:
    """Return the median ratio of a quantity to the healthy pump's at the same flow and speed."""
    order = np.argsort(healthy.true["flow_m3h"])
    usual = np.interp(
        after(sick.true["flow_m3h"]), healthy.true["flow_m3h"][order], healthy.true[name][order]
    )
    return float(np.median(after(sick.true[name]) / usual))


def test_impeller_wear_takes_head_everywhere() -> None:
    assert at_same_flow(*with_fault("impeller_wear", severity=0.05), "head_m") == pytest.approx(
        0.95, abs=0.004
    )


def test_ring_leakage_takes_head_and_more_at_more_flow() -> None:
    sick, healthy = with_fault("ring_leakage", severity=0.06)
    order = np.argsort(healthy.true["flow_m3h"])
    flow = after(sick.true["flow_m3h"])
    usual = np.interp(flow, healthy.true["flow_m3h"][order], healthy.true["head_m"][order])
    loss = 1 - after(sick.true["head_m"]) / usual
    inside = flow < healthy.true["flow_m3h"].max()
    assert loss[inside].min() > 0.005
    assert np.corrcoef(flow[inside], loss[inside])[0, 1] > 0.9
    assert at_same_flow(sick, healthy, "power_w") > 1.0


def test_drag_takes_power_and_leaves_head() -> None:
    sick, healthy = with_fault("drag", severity=0.06)
    assert at_same_flow(sick, healthy, "head_m") == pytest.approx(1.0, abs=1e-3)
    assert at_same_flow(sick, healthy, "power_w") > 1.05


@pytest.mark.parametrize("kind", ["plugging", "system_opened"])
def test_a_changed_system_leaves_the_pump_on_its_own_curve(kind: FaultKind) -> None:
    sick, healthy = with_fault(kind, severity=0.2)
    assert at_same_flow(sick, healthy, "head_m") == pytest.approx(1.0, abs=2e-3)
    moved = np.median(after(sick.true["resistance"]) / after(healthy.true["resistance"]))
    assert moved == pytest.approx(1.2 if kind == "plugging" else 0.8)


def test_air_comes_in_bursts_that_take_head_and_power_and_leave_again() -> None:
    sick, healthy = with_fault("air", severity=0.05, period_s=2400)
    ratio = after(sick.true["power_w"]) / after(healthy.true["power_w"])
    assert 0.2 < np.mean(ratio < 0.97) < 0.8
    assert 0.2 < np.mean(ratio > 0.999) < 0.8
    assert ratio.min() > 0.4


def test_dry_running_has_no_flow_and_far_less_power_than_a_shut_pump_until_it_trips() -> None:
    dry, _ = with_fault("dry_running", times=STEP, period_s=120, code=7)
    shut, _ = with_fault("closed_discharge", times=STEP)
    first = len(STEP) // 2
    assert dry.true["flow_m3h"][first] < 0.05
    assert dry.true["power_w"][first] < 0.6 * shut.true["power_w"][first]
    assert (dry.reported["fault_code"][first : first + 12] == 0).all()
    assert (dry.reported["fault_code"][first + 12 :] == 7).all()
    assert dry.true["speed_rpm"][first + 12 :].max() == 0


def test_a_closed_discharge_runs_at_shutoff_head() -> None:
    shut, healthy = with_fault("closed_discharge")
    assert after(shut.reported["flow_m3h"]).max() < 0.05
    assert after(shut.true["head_m"]).min() > healthy.true["head_m"].max()
    assert after(shut.true["power_w"]).max() < healthy.true["power_w"].min()


def test_hunting_swings_speed_with_its_period() -> None:
    sick, _ = with_fault("hunting", times=STEP, severity=0.05, period_s=120)
    speed = after(sick.true["speed_rpm"])
    assert np.ptp(speed) / speed.mean() == pytest.approx(0.1, rel=0.1)
    spectrum = np.abs(np.fft.rfft(speed - speed.mean()))
    assert len(speed) * 10 / np.argmax(spectrum) == pytest.approx(120, rel=0.01)


def test_trip_and_restart_counts_starts_and_shows_its_code_while_stopped() -> None:
    sick, _ = with_fault("trip_and_restart", period_s=600, code=21)
    stopped = after(sick.true["speed_rpm"]) == 0
    assert after(sick.reported["starts"])[-1] - sick.reported["starts"][719] == pytest.approx(72, abs=1)
    assert (after(sick.reported["fault_code"])[stopped] == 21).all()
    assert (after(sick.reported["fault_code"])[~stopped] == 0).all()


def test_short_cycling_counts_starts_and_shows_no_code() -> None:
    sick, _ = with_fault("short_cycling", period_s=600)
    assert sick.reported["starts"][-1] > 70
    assert sick.reported["fault_code"].max() == 0


def test_frozen_telemetry_repeats_while_the_pump_goes_on() -> None:
    sick, _ = with_fault("frozen_telemetry")
    assert np.unique(after(sick.reported["flow_m3h"])).size == 1
    assert np.unique(after(sick.true["flow_m3h"])).size > 100
    assert sick.reported["flow_m3h"][-1] == sick.reported["flow_m3h"][719]


def test_a_head_gauge_shift_shows_at_rest_too() -> None:
    sick, healthy = with_fault(
        "head_gauge_shift", severity=0.05, control=ControlSpec(on_from_h=6.0, on_until_h=22.0)
    )
    assert after(sick.reported["head_m"] - healthy.reported["head_m"]) == pytest.approx(0.05 * 12.0)
    assert (after(sick.true["speed_rpm"]) == 0).any()


@pytest.mark.parametrize(
    ("kind", "name"), [("flow_meter_shift", "flow_m3h"), ("power_reading_shift", "power_w")]
)
def test_a_shifted_reading_leaves_the_truth(kind: FaultKind, name: str) -> None:
    sick, healthy = with_fault(kind, severity=-0.05)
    assert after(sick.reported[name] / healthy.reported[name]) == pytest.approx(0.95)
    assert np.array_equal(sick.true[name], healthy.true[name])


def test_glycol_takes_power_by_its_density() -> None:
    """30 % propylene glycol at 30 C is 2.3 % denser than water (CoolProp); thicker too, so a little more."""
    sick, healthy = with_fault("glycol_filled", severity=0.3)
    assert 1.015 < at_same_flow(sick, healthy, "power_w") < 1.06


def test_a_ramp_grows_evenly() -> None:
    sick, healthy = with_fault("power_reading_shift", severity=0.1, ramp_s=43_200)
    shift = after(sick.reported["power_w"] / healthy.reported["power_w"]) - 1
    assert shift[360] == pytest.approx(0.05, abs=1e-3)


def test_an_off_bus_share_is_kept_over_many_cycles() -> None:
    sick, _ = with_fault("off_bus", severity=0.25, period_s=1800)
    assert np.mean(~after(sick.on_bus)) == pytest.approx(0.25, abs=0.03)


def test_noise_has_mean_0_deviation_1_and_the_stated_memory() -> None:
    ticks = np.arange(100_000, dtype=np.int64)
    shocks = white(3, ticks)
    assert abs(shocks.mean()) < 0.015
    assert shocks.std() == pytest.approx(1.0, abs=0.01)
    assert abs(np.corrcoef(shocks[1:], shocks[:-1])[0, 1]) < 0.015
    walk = wandering(3, ticks * 1000, 1000, 0.8)
    assert walk.std() == pytest.approx(1.0, abs=0.03)
    assert np.corrcoef(walk[1:], walk[:-1])[0, 1] == pytest.approx(0.8, abs=0.01)
    shares = uniform(9, ticks)
    assert shares.min() >= 0
    assert shares.max() < 1
    assert shares.mean() == pytest.approx(0.5, abs=0.005)
