"""The curve is the pump's own: learned from its first weeks, robust, and honest about where it holds."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import Curve, learn_curve
from api.analytics.facts import Provenance, PumpFacts, ServiceEvent
from api.analytics.hours import hour_rows
from api.analytics.observations import observations
from api.analytics.spans import DAY_MS
from collector.quantities import QUANTITY_NAMES
from simulator.plant import build_pump
from simulator.plant.spec import Fault
from tests.fleet.cases import START_UTC_MS, Case

Pump = Callable[..., pd.DataFrame]
DUTIES = [(15.0, 2300.0), (20.0, 2450.0), (24.0, 2550.0)]


def learned(frame: pd.DataFrame, facts: PumpFacts) -> Curve:
    curve = learn_curve(hour_rows(frame, facts), facts)
    assert curve is not None
    return curve


@pytest.mark.parametrize(("flow", "speed"), DUTIES)
def test_the_curve_gives_the_true_head_within_a_third_of_a_percent(
    make_pump: Pump, measured: PumpFacts, true_head: tuple[float, float, float], flow: float, speed: float
) -> None:
    a, b, c = true_head
    true = a * speed**2 + b * speed * flow + c * flow**2
    assert learned(make_pump(), measured).head_m(flow, speed) == pytest.approx(true, rel=0.003)


@pytest.mark.parametrize(("flow", "speed"), DUTIES)
def test_the_curve_gives_the_true_power_within_a_third_of_a_percent(
    make_pump: Pump, measured: PumpFacts, true_power: tuple[float, ...], flow: float, speed: float
) -> None:
    d, e, f, g, h = true_power
    true = d * speed**3 + e * speed**2 * flow + f * speed * flow**2 + g * speed + h
    assert learned(make_pump(), measured).power_w(flow, speed) == pytest.approx(true, rel=0.003)


def test_the_affinity_laws_hold_for_the_learned_head(make_pump: Pump, measured: PumpFacts) -> None:
    # Source: a trade bulletin's example: 200 gpm and 60 ft at 1700 rpm become 235 gpm and 83 ft at 2000.
    curve = learned(make_pump(), measured)
    ratio = 2000 / 1700
    assert 60 * curve.head_m(20 * ratio, 2000) / curve.head_m(20, 1700) == pytest.approx(83.045, abs=0.001)


def test_a_curve_written_as_json_comes_back_equal(make_pump: Pump, measured: PumpFacts) -> None:
    curve = learned(make_pump(days=10), measured)
    assert Curve.from_dict(json.loads(json.dumps(curve.to_dict()))) == curve


def test_it_covers_where_the_pump_ran_and_not_where_it_never_was(
    make_pump: Pump, measured: PumpFacts
) -> None:
    curve = learned(make_pump(), measured)
    assert curve.covers([20.0, 20.0, 2.0, np.nan], [2430.0, 1200.0, 2430.0, 2430.0]).tolist() == [
        True,
        False,
        False,
        False,
    ]


@pytest.mark.parametrize(("days", "has_curve"), [(3, False), (4, True)])
def test_four_days_are_the_least_for_a_curve(
    make_pump: Pump, measured: PumpFacts, days: int, has_curve: bool
) -> None:
    assert (learn_curve(hour_rows(make_pump(days=days), measured), measured) is not None) is has_curve


@pytest.mark.parametrize(("days", "is_provisional"), [(20, True), (40, False)])
def test_a_curve_of_less_than_four_weeks_is_provisional(
    make_pump: Pump, measured: PumpFacts, days: int, is_provisional: bool
) -> None:
    assert learned(make_pump(days=days), measured).is_provisional is is_provisional


def test_what_happens_after_the_baseline_does_not_move_the_curve(
    make_pump: Pump, measured: PumpFacts
) -> None:
    healthy = learned(make_pump(), measured)
    worn = learned(make_pump(head_factor=lambda day: np.where(day >= 30, 0.9, 1.0)), measured)
    assert worn == healthy


def test_air_for_an_afternoon_does_not_bend_the_curve(make_pump: Pump, measured: PumpFacts) -> None:
    def airy(day: np.ndarray) -> np.ndarray:
        bursts = (day > 5) & (day < 5.3) & (np.random.default_rng(3).random(len(day)) < 0.4)
        return np.where(bursts, 0.6, 1.0)

    calm, aired = learned(make_pump(), measured), learned(make_pump(head_factor=airy), measured)
    assert aired.head_m(20, 2450) == pytest.approx(calm.head_m(20, 2450), rel=0.001)


def test_only_a_recorded_event_starts_a_new_baseline(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(head_factor=lambda day: np.where(day >= 30, 0.9, 1.0))
    start = int(frame.index[0])
    event = ServiceEvent(time_utc_ms=start + 30 * DAY_MS, kind="impeller_changed", new_baseline=True)
    greased = ServiceEvent(time_utc_ms=start + 30 * DAY_MS, kind="bearing_greased")
    facts = PumpFacts(pump="P01", flow=Provenance.MEASURED, head=Provenance.MEASURED, events=(event,))
    before = learned(frame, PumpFacts(pump="P01", events=(greased,))).head_m(20, 2450)
    assert learned(frame, facts).head_m(20, 2450) == pytest.approx(0.9 * before, rel=0.004)


def test_a_pump_that_keeps_one_duty_is_still_known_at_that_duty(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump()
    frame[["speed_rpm", "flow_m3h", "head_m", "power_w"]] = [2450.0, 20.0, 11.0, 700.0]
    frame["head_m"] += np.random.default_rng(0).normal(0, 0.02, len(frame))
    curve = learned(frame, measured)
    assert curve.head_m(20, 2450) == pytest.approx(11.0, rel=1e-3)
    assert 11.0 < curve.head_m(0, 2450) < 22.0


def test_the_bands_are_the_scatter_of_single_readings(make_pump: Pump, measured: PumpFacts) -> None:
    curve = learned(make_pump(drift=0.0), measured)
    frame = make_pump(drift=0.0)
    about = frame["head_m"] - curve.head_m(frame["flow_m3h"], frame["speed_rpm"])
    assert curve.head_band_m == pytest.approx(float(about.std()), rel=0.15)


def minutes(case: Case, faults: tuple[Fault, ...]) -> pd.DataFrame:
    times = START_UTC_MS + np.arange(case.days * 1440, dtype=np.int64) * 60_000
    reported = build_pump(replace(case.spec(), faults=faults), case.seed).advance(times).reported
    index = pd.Index(times, name="time_utc_ms")
    return pd.DataFrame({name: reported[name] for name in QUANTITY_NAMES}, index=index)


def test_gas_that_the_control_hides_from_head_is_an_episode_all_the_same(measured: PumpFacts) -> None:
    case = Case(family="C", seed=905, days=50)
    calm = hour_rows(minutes(case, ()), measured)
    gas = Fault(kind="air", start_utc_ms=case.onset_utc_ms - 20 * DAY_MS, severity=0.05, period_s=2700.0)
    aired = hour_rows(minutes(case, (gas,)), measured)
    curve = learn_curve(calm, measured)
    assert curve is not None
    before, after = (
        observations(hours[hours.index // DAY_MS > START_UTC_MS // DAY_MS + 40]) for hours in (calm, aired)
    )
    assert curve.power_is_calm(before).mean() > 0.95
    assert curve.head_is_calm(after).mean() < 0.05


def test_a_curve_written_before_scatter_along_it_was_kept_is_read(
    make_pump: Pump, measured: PumpFacts
) -> None:
    document = learned(make_pump(), measured).to_dict()
    del document["calm"]["head_along"], document["calm"]["power_along"]
    assert Curve.from_dict(document).calm.head_along == np.inf


def test_a_curve_written_before_the_step_of_speed_was_kept_is_read(
    make_pump: Pump, measured: PumpFacts
) -> None:
    document = learned(make_pump(), measured).to_dict()
    del document["speed_step_rpm"]
    assert Curve.from_dict(document).speed_step_rpm == 0.0
