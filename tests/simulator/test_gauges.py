"""Gauges in the plant room show the pump as it is, whatever its drive computes."""

from __future__ import annotations

import numpy as np
import pytest

from simulator.gauges import MINUTES, READ_TO_BAR, GaugeTaps, gauge_readings
from simulator.hall import hall_pumps
from simulator.plant import Fault, PumpSpec, SensorSpec, SystemSpec, build_pump

START = 1_790_000_000_000
TIMES = START + 60_000 * np.arange(600, dtype=np.int64)
WORN = PumpSpec(
    system=SystemSpec(fluid_temperature_c=20.0, temperature_wander_c=0.0),
    sensor=SensorSpec(provenance="estimated"),
    faults=(Fault(kind="impeller_wear", start_utc_ms=START - 1, severity=0.1),),
)
TAPS = GaugeTaps(
    suction_bar=1.6, suction_height_m=0.4, discharge_height_m=1.2, visits_utc_ms=(START + 3_600_000,)
)


def test_the_difference_of_the_gauges_is_the_true_head() -> None:
    signals = build_pump(WORN, 1).advance(TIMES)
    (reading,) = gauge_readings(TAPS, WORN, TIMES, signals)
    # By hand: head = (p_d - p_s) / (rho g) + (z_d - z_s), water of 20 C (998.2 kg/m3, Kell, from memory).
    head_m = (reading.discharge_bar - reading.suction_bar) * 1e5 / (998.2 * 9.80665) + 0.8
    assert head_m == pytest.approx(np.mean(signals.true["head_m"][60 : 60 + MINUTES]), abs=0.06)
    assert READ_TO_BAR * 1e5 / (998.2 * 9.80665) < 0.06


def test_they_know_of_wear_what_the_drive_does_not() -> None:
    signals = build_pump(WORN, 1).advance(TIMES)
    (reading,) = gauge_readings(TAPS, WORN, TIMES, signals)
    shown_m = (reading.discharge_bar - reading.suction_bar) * 1e5 / (998.2 * 9.80665) + 0.8
    assert shown_m < 0.97 * np.mean(signals.reported["head_m"][60 : 60 + MINUTES])


def test_nobody_reads_gauges_outside_the_history() -> None:
    signals = build_pump(WORN, 1).advance(TIMES)
    later = GaugeTaps(
        suction_bar=1.6, suction_height_m=0.4, discharge_height_m=1.2, visits_utc_ms=(START - 1_000_000,)
    )
    assert gauge_readings(later, WORN, TIMES, signals) == ()
    assert gauge_readings(None, WORN, TIMES, signals) == ()


def test_in_the_hall_somebody_comes_twice_before_the_live_run_by_day() -> None:
    taps = [pump.taps for pump in hall_pumps(START) if pump.taps]
    (visits,) = [each.visits_utc_ms for each in taps]
    assert [visit < START for visit in visits] == [True, True]
    assert {visit // 3_600_000 % 24 for visit in visits} == {10}
