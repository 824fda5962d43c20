"""A pump that leaves its own curve is named, how much and since when; one that does not is left alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics import codes
from api.analytics.curve import learn_curve
from api.analytics.drift import slow_findings
from api.analytics.facts import Provenance, PumpFacts, ServiceEvent
from api.analytics.finding import INFORMATION_KINDS, Finding, Kind, Priority
from api.analytics.hours import hour_rows
from api.analytics.spans import DAY_MS

Pump = Callable[..., pd.DataFrame]


def step(size: float, first: int = 40, until: int = 999) -> Callable[[np.ndarray], np.ndarray]:
    return lambda day: np.where((day >= first) & (day < until), 1 + size, 1.0)


def judge(frame: pd.DataFrame, facts: PumpFacts) -> list[Finding]:
    hours = hour_rows(frame, facts)
    return slow_findings(hours, learn_curve(hours, facts), facts)


def alarms(found: list[Finding]) -> list[Finding]:
    return [finding for finding in found if finding.kind not in INFORMATION_KINDS]


@pytest.mark.parametrize("seed", range(5))
def test_a_healthy_pump_with_drifting_sensors_raises_nothing(
    make_pump: Pump, measured: PumpFacts, seed: int
) -> None:
    assert judge(make_pump(120, seed=seed, drift=0.004), measured) == []


@pytest.mark.parametrize("loss", [0.02, 0.03, 0.05])
def test_a_loss_of_head_is_found_with_its_size_in_the_interval(
    make_pump: Pump, measured: PumpFacts, loss: float
) -> None:
    found = judge(make_pump(head_factor=step(-loss), power_factor=step(-0.8 * loss)), measured)
    assert [finding.kind for finding in found] == [Kind.HEAD_LOSS]
    assert found[0].effect_low is not None
    assert found[0].effect_high is not None
    assert found[0].effect_low <= -loss <= found[0].effect_high


def test_the_day_of_change_is_named(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(head_factor=step(-0.03))
    assert judge(frame, measured)[0].first_utc_ms == int(frame.index[0]) + 40 * DAY_MS


def test_a_loss_that_still_stands_is_active(make_pump: Pump, measured: PumpFacts) -> None:
    assert judge(make_pump(head_factor=step(-0.03)), measured)[0].active


def test_a_loss_that_went_away_is_kept_but_not_active(make_pump: Pump, measured: PumpFacts) -> None:
    found = judge(make_pump(90, head_factor=step(-0.04, until=55)), measured)
    assert [finding.active for finding in found] == [False]
    assert found[0].last_utc_ms < make_pump(90).index[0] + 60 * DAY_MS


def test_a_half_percent_is_below_the_floor(make_pump: Pump, measured: PumpFacts) -> None:
    assert judge(make_pump(120, head_factor=step(-0.005), drift=0.0005), measured) == []


def test_three_percent_is_found_within_three_days(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(43, head_factor=step(-0.03))
    assert [finding.active for finding in judge(frame, measured)] == [True]


@pytest.mark.parametrize(("loss", "priority"), [(0.03, Priority.PLANNED), (0.08, Priority.SOON)])
def test_a_loss_beyond_five_percent_is_to_be_acted_on_soon(
    make_pump: Pump, measured: PumpFacts, loss: float, priority: Priority
) -> None:
    frame = make_pump(head_factor=step(-loss), power_factor=step(-0.8 * loss))
    assert judge(frame, measured)[0].priority is priority


def test_head_and_power_that_fall_together_point_to_the_impeller(
    make_pump: Pump, measured: PumpFacts
) -> None:
    found = judge(make_pump(head_factor=step(-0.04), power_factor=step(-0.03)), measured)
    assert "impeller_wear" in found[0].causes[0].names


def test_a_low_flow_meter_is_never_called_leakage_alone(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump()
    late = frame.index >= frame.index[0] + 40 * DAY_MS
    frame.loc[late, "flow_m3h"] *= 0.9
    assert "flow_meter_reads_low" in judge(frame, measured)[0].causes[0].names


def with_wide_speed(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the pump with a speed of its own that swings by a third: head swings by half."""
    ratio = 1 + 0.3 * np.sin(np.arange(len(frame)) / 17)
    return frame.assign(
        speed_rpm=frame["speed_rpm"] * ratio,
        flow_m3h=frame["flow_m3h"] * ratio,
        head_m=frame["head_m"] * ratio**2,
        power_w=frame["power_w"] * ratio**3,
    )


def test_a_share_of_head_alone_that_falls_is_a_loss_that_gauges_must_tell_from_the_sensor(
    make_pump: Pump, measured: PumpFacts
) -> None:
    found = judge(make_pump(head_factor=step(-0.05)), measured)
    assert [finding.kind for finding in found] == [Kind.HEAD_LOSS]
    assert found[0].causes[0].names == ("rough_passages", "head_sensor_gain_fell")
    assert found[0].checks[0] == "compare_gauges_at_two_duties"


def test_an_amount_of_head_that_falls_everywhere_is_the_head_sensor(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = with_wide_speed(make_pump(drift=0.001))
    late = frame.index >= frame.index[0] + 40 * DAY_MS
    frame.loc[late, "head_m"] -= 0.06 * frame["head_m"].median()
    found = judge(frame, measured)
    assert [finding.kind for finding in found] == [Kind.HEAD_SENSOR_SHIFT]
    assert found[0].causes[0].names == ("head_sensor_reads_low",)


def test_power_that_rises_by_a_share_is_a_wrong_reading(make_pump: Pump, measured: PumpFacts) -> None:
    found = judge(make_pump(power_factor=step(0.15)), measured)
    assert [finding.kind for finding in found] == [Kind.POWER_READING_SHIFT]
    assert found[0].effect == pytest.approx(0.15, abs=0.01)


def test_a_system_that_opens_is_no_pump_fault(make_pump: Pump, measured: PumpFacts) -> None:
    found = judge(make_pump(90, flow_share=step(0.25)), measured)
    assert alarms(found) == []


@pytest.mark.parametrize("which", ["flow", "head"])
def test_estimated_flow_or_head_never_leads_to_a_claim_of_wear(
    make_pump: Pump, measured: PumpFacts, which: str
) -> None:
    facts = replace(measured, **{which: Provenance.ESTIMATED})
    found = judge(make_pump(head_factor=step(-0.1)), facts)
    assert [finding.kind for finding in found] == [Kind.NOT_ASSESSABLE]
    assert found[0].causes[0].names == ("estimated_flow_or_head",)
    assert found[0].checks == ("make_field_check",)


def test_a_repair_that_is_recorded_starts_afresh(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(90, head_factor=step(-0.05))
    repair = ServiceEvent(
        time_utc_ms=int(frame.index[0]) + 45 * DAY_MS, kind="rings_changed", new_baseline=True
    )
    assert judge(frame, replace(measured, events=(repair,))) == []


def test_a_repair_without_a_new_baseline_changes_nothing(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(90, head_factor=step(-0.05))
    event = ServiceEvent(time_utc_ms=int(frame.index[0]) + 45 * DAY_MS, kind="bearing_greased")
    assert judge(frame, replace(measured, events=(event,))) == judge(frame, measured)


def test_two_faults_at_once_are_both_seen(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(100, head_factor=step(-0.04), power_factor=step(0.12, first=75))
    kinds = [finding.kind for finding in judge(frame, measured)]
    assert kinds[0] is Kind.HEAD_LOSS
    assert kinds[1:] in ([Kind.POWER_READING_SHIFT], [Kind.POWER_SHIFT])


def test_the_same_readings_give_the_same_findings(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(head_factor=step(-0.03))
    assert judge(frame, measured) == judge(frame.copy(), measured)


def test_what_was_said_yesterday_is_not_unsaid_by_todays_hours(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(70, head_factor=step(-0.03))
    hours = hour_rows(frame, measured)
    curve = learn_curve(hours, measured)
    early = slow_findings(hours[hours.index < frame.index[0] + 50 * DAY_MS], curve, measured)
    late = slow_findings(hours, curve, measured)
    assert [finding.kind for finding in early] == [finding.kind for finding in late]
    assert abs(early[0].first_utc_ms - late[0].first_utc_ms) <= DAY_MS


def ramp(size: float, first: int, days: int) -> Callable[[np.ndarray], np.ndarray]:
    return lambda day: 1 + size * np.clip((day - first) / days, 0, 1)


@pytest.mark.parametrize("change", [step(-0.04), ramp(-0.08, 40, 8), ramp(-0.08, 25, 60)])
def test_evidence_and_effect_say_the_same(
    make_pump: Pump, measured: PumpFacts, change: Callable[[np.ndarray], np.ndarray]
) -> None:
    finding = judge(make_pump(head_factor=change), measured)[0]
    numbers = {item.name: item.value for item in finding.evidence}
    assert finding.effect is not None
    ratio = numbers["head_at_duty_m"] / numbers["own_curve_head_at_duty_m"]
    assert ratio - 1 == pytest.approx(finding.effect, abs=1e-9)
    assert numbers["head_residual_fraction"] == finding.effect


@pytest.mark.parametrize("change", [step(-0.04), ramp(-0.08, 40, 8), ramp(-0.08, 25, 60)])
def test_the_last_days_readings_show_the_head_that_the_evidence_names(
    make_pump: Pump, measured: PumpFacts, change: Callable[[np.ndarray], np.ndarray]
) -> None:
    frame = make_pump(head_factor=change)
    numbers = {item.name: item.value for item in judge(frame, measured)[0].evidence}
    late = frame[frame.index >= frame.index[-1] - 5 * DAY_MS]
    near = late[
        (abs(late["flow_m3h"] / numbers["flow_at_duty_m3h"] - 1) < 0.05)
        & (abs(late["speed_rpm"] / numbers["speed_at_duty_rpm"] - 1) < 0.03)
    ]
    like_duty = near["head_m"] * (numbers["speed_at_duty_rpm"] / near["speed_rpm"]) ** 2
    assert like_duty.median() == pytest.approx(numbers["head_at_duty_m"], rel=0.01)


def test_hours_used_are_those_since_the_day_of_change(make_pump: Pump, measured: PumpFacts) -> None:
    numbers = {
        item.name: item.value for item in judge(make_pump(head_factor=step(-0.04)), measured)[0].evidence
    }
    assert numbers["hours_used"] == pytest.approx(19 * 24, abs=2)


def test_every_code_used_is_a_listed_code(make_pump: Pump, measured: PumpFacts) -> None:
    found = judge(make_pump(head_factor=step(-0.04), power_factor=step(-0.02)), measured)
    found += judge(make_pump(power_factor=step(0.09)), measured)
    for finding in found:
        assert {name for cause in finding.causes for name in cause.names} <= codes.CAUSES
        assert set(finding.checks) <= codes.CHECKS
        assert {item.name for item in finding.evidence} <= codes.EVIDENCE


def test_a_fault_that_comes_back_is_found_again(make_pump: Pump, measured: PumpFacts) -> None:
    def twice(day: np.ndarray) -> np.ndarray:
        return np.where(((day >= 40) & (day < 50)) | (day >= 80), 0.95, 1.0)

    found = judge(make_pump(100, head_factor=twice, power_factor=twice), measured)
    assert [finding.active for finding in found] == [False, True]


def test_a_fault_within_the_first_days_that_heals_leaves_a_pump_that_can_be_judged(
    make_pump: Pump, measured: PumpFacts
) -> None:
    found = judge(make_pump(60, head_factor=step(-0.08, first=7, until=25)), measured)
    assert not any(finding.active for finding in found)


@pytest.mark.parametrize("days", [54, 55, 56, 57, 58, 111, 112, 113])
def test_a_fault_that_grew_is_never_taken_for_noise_when_noise_is_judged_anew(
    make_pump: Pump, measured: PumpFacts, days: int
) -> None:
    # The noise is judged anew whenever the days have doubled: 56, 112.
    first = days - 25
    found = judge(make_pump(days, head_factor=ramp(-0.08, first, 8), drift=0.003), measured)
    assert [finding.active for finding in found] == [True]
    assert found[0].effect == pytest.approx(-0.08, abs=0.012)
