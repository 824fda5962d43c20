"""Hours of a stuck register judge nothing: told day by day, named as the reason, and not of healthy pumps."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import Curve, learn_curve
from api.analytics.drift import slow_findings
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding, Kind
from api.analytics.hours import hour_rows
from api.analytics.residuals import residuals
from api.analytics.spans import DAY_MS
from api.analytics.stuck_hours import stuck_hours
from tests.fleet_odd.catalogue import CATALOGUE
from tests.fleet_odd.families import record

Pump = Callable[..., pd.DataFrame]
CHANNELS = ("power_w", "flow_m3h", "head_m")
SINCE_DAY = 45


def stuck(frame: pd.DataFrame, name: str, since_day: float, days: float = 1e9) -> pd.DataFrame:
    """Return the readings with a register that keeps its value from then on, or for so many days."""
    day = (frame.index.to_numpy() - frame.index[0]) / DAY_MS
    during = (day >= since_day) & (day < since_day + days)
    return frame.assign(**{name: frame[name].where(~during, frame[name][during].iloc[0])})


def valves(day: np.ndarray) -> np.ndarray:
    """Return valves that close by two fifths and open again every three hours."""
    return np.where(np.floor(day * 8) % 2 == 0, 1.0, 0.6)


def curve_of(hours: pd.DataFrame, facts: PumpFacts) -> Curve:
    curve = learn_curve(hours, facts)
    assert curve is not None
    return curve


def days_of(hours: pd.DataFrame) -> np.ndarray:
    return hours.index.to_numpy(dtype=np.int64) // DAY_MS


def said(frame: pd.DataFrame, facts: PumpFacts) -> list[Finding]:
    hours = hour_rows(frame, facts)
    return slow_findings(hours, learn_curve(hours, facts), facts)


@pytest.mark.parametrize("name", CHANNELS)
def test_the_hours_of_a_stuck_register_are_masked_and_no_others(
    make_pump: Pump, measured: PumpFacts, name: str
) -> None:
    frame = make_pump(60, flow_share=valves)
    hours = hour_rows(stuck(frame, name, SINCE_DAY + 0.25, days=0.75), measured)
    masked = stuck_hours(hours, days_of(hours), curve_of(hours, measured), CHANNELS)
    assert np.flatnonzero(masked).tolist() == list(range(24 * SINCE_DAY + 6, 24 * SINCE_DAY + 24))


def test_a_healthy_pump_has_no_such_hour(make_pump: Pump, measured: PumpFacts) -> None:
    hours = hour_rows(make_pump(60), measured)
    assert not stuck_hours(hours, days_of(hours), curve_of(hours, measured), CHANNELS).any()


@pytest.mark.parametrize("step_m", [0.5, 1.0, 2.0])
def test_a_head_in_coarse_steps_rests_by_right(make_pump: Pump, measured: PumpFacts, step_m: float) -> None:
    frame = make_pump(60)
    hours = hour_rows(frame.assign(head_m=np.round(frame["head_m"] / step_m) * step_m), measured)
    assert not stuck_hours(hours, days_of(hours), curve_of(hours, measured), CHANNELS).any()


@pytest.mark.parametrize("name", CHANNELS)
def test_whole_days_in_pieces_tell_what_all_of_them_do(
    make_pump: Pump, measured: PumpFacts, name: str
) -> None:
    hours = hour_rows(stuck(make_pump(60), name, SINCE_DAY + 0.7, days=3.1), measured)
    curve, day = curve_of(hours, measured), days_of(hours)
    whole = stuck_hours(hours, day, curve, CHANNELS)
    for cut in range(day[0] + 44, day[0] + 52):
        parts = [stuck_hours(hours[part], day[part], curve, CHANNELS) for part in (day < cut, day >= cut)]
        assert np.array_equal(np.concatenate(parts), whole)


@pytest.mark.parametrize("name", ["flow_m3h", "head_m"])
def test_a_stuck_register_is_no_wear_and_no_shift_but_a_reason_of_its_own(
    make_pump: Pump, measured: PumpFacts, name: str
) -> None:
    found = said(stuck(make_pump(80), name, SINCE_DAY), measured)
    assert [(one.kind, one.causes[0].names[0]) for one in found] == [
        (Kind.NOT_ASSESSABLE, "one_reading_stuck")
    ]


def test_stuck_power_hides_no_loss_of_head(make_pump: Pump, measured: PumpFacts) -> None:
    worn = make_pump(80, head_factor=lambda day: np.where(day >= SINCE_DAY + 5, 0.93, 1.0))
    (loss,) = (one for one in said(stuck(worn, "power_w", SINCE_DAY), measured) if one.kind is Kind.HEAD_LOSS)
    assert loss.effect == pytest.approx(-0.07, abs=0.01)


def test_stuck_power_is_not_judged_as_power(make_pump: Pump, measured: PumpFacts) -> None:
    hours = hour_rows(stuck(make_pump(60), "power_w", SINCE_DAY), measured)
    judged = residuals(hours, curve_of(hours, measured), measured)
    later = judged.day >= days_of(hours)[0] + SINCE_DAY
    assert (judged.power_is_calm[later].any(), later.sum() > 300) == (False, True)


@pytest.mark.parametrize("name", [name for name, odd in CATALOGUE.items() if odd.is_sound][::4])
def test_odd_but_healthy_pumps_have_no_such_hour(name: str) -> None:
    recording = record(CATALOGUE[name], 0)
    hours = hour_rows(recording.frame, recording.facts)
    curve = learn_curve(hours, recording.facts)
    assert curve is None or not stuck_hours(hours, days_of(hours), curve, CHANNELS).any()
