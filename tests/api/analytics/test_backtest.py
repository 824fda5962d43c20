"""The back-test says what thresholds would have done with this pump's own noise, and no more."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.backtest import (
    AtLimits,
    BackTest,
    Outcome,
    back_test,
    choices,
    outcomes,
    with_head_loss,
)
from api.analytics.curve import learn_curve
from api.analytics.drift import head_alarms, slow_findings
from api.analytics.facts import Provenance, PumpFacts, ServiceEvent
from api.analytics.hours import hour_rows
from api.analytics.limits import HEAD_LIMITS
from api.analytics.spans import DAY_MS
from api.analytics.verdicts import Limits

Pump = Callable[..., pd.DataFrame]


def healed(size: float, first: int, until: int) -> Callable[[np.ndarray], np.ndarray]:
    return lambda day: np.where((day >= first) & (day < until), 1 - size, 1.0)


def outcome_of(frame: pd.DataFrame, facts: PumpFacts, loss: float = 0.03) -> BackTest:
    hours = hour_rows(frame, facts)
    found = back_test(hours, learn_curve(hours, facts), facts, loss)
    assert found is not None
    return found


def present(test: BackTest) -> AtLimits:
    return next(each for each in test.at if each.limits == test.present)


def at(test: BackTest, effect: float, z: float = 5.0) -> AtLimits:
    return next(each for each in test.at if each.limits == Limits(z=z, effect=effect))


def test_a_loss_put_into_the_sums_is_that_of_readings_with_less_head(
    make_pump: Pump, measured: PumpFacts
) -> None:
    frame = make_pump(12)
    worn = frame.copy()
    late = frame.index >= frame.index[0] + 6 * DAY_MS
    worn.loc[late, "head_m"] *= 0.97
    put_in = with_head_loss(hour_rows(frame, measured), int(frame.index[0]) + 6 * DAY_MS, 0.03)
    sums = ["n_trusted", "sum_n", "sum_nq", "sum_h", "sum_hh", "sum_hn", "sum_hq", "sum_p"]
    # The hour before midnight ends with the first worn reading; the sums are of readings, so it stays whole.
    pd.testing.assert_frame_equal(put_in[sums], hour_rows(worn, measured)[sums], rtol=1e-12)


def test_a_delay_is_that_of_the_engine_itself(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(56)
    hours = hour_rows(frame, measured)
    curve = learn_curve(hours, measured)
    assert curve is not None
    first_day = curve.last_hour_utc_ms // DAY_MS + 1
    test = outcome_of(frame, measured)
    worn = with_head_loss(hours, first_day * DAY_MS, 0.03)
    within = worn[worn.index < (first_day + test.look_days) * DAY_MS]
    raised = head_alarms(within, curve, measured)[0].raised_day
    assert present(test).delays_days[0] == raised - first_day + 1


def test_a_larger_loss_is_never_raised_later(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(70, drift=0.004)
    small, large = (outcome_of(frame, measured, loss) for loss in (0.02, 0.05))
    assert np.median(present(large).delays_days) <= np.median(present(small).delays_days)


def test_a_loss_below_the_floor_is_never_raised(make_pump: Pump, measured: PumpFacts) -> None:
    test = outcome_of(make_pump(60), measured, loss=0.02)
    assert set(at(test, 0.03).delays_days) == {np.inf}


def test_a_quiet_pump_has_no_false_alarm_and_says_how_near_it_came(
    make_pump: Pump, measured: PumpFacts
) -> None:
    test = outcome_of(make_pump(90), measured)
    assert present(test).false_alarms == 0
    assert 0 < test.most_evidence_sd < HEAD_LIMITS.z


def test_an_alarm_that_goes_away_by_itself_is_false(make_pump: Pump, measured: PumpFacts) -> None:
    test = outcome_of(make_pump(100, head_factor=healed(0.012, 45, 52)), measured)
    assert at(test, 0.005).false_alarms == 1
    assert at(test, 0.02).false_alarms == 0


def test_an_alarm_that_recorded_work_ended_is_not_called_false(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(100, head_factor=healed(0.04, 45, 60))
    work = ServiceEvent(time_utc_ms=int(frame.index[0]) + 60 * DAY_MS, kind="strainer_cleaned")
    assert present(outcome_of(frame, measured)).false_alarms == 1
    assert present(outcome_of(frame, replace(measured, events=(work,)))).false_alarms == 0


def test_the_quiet_history_ends_where_a_loss_that_still_stands_began(
    make_pump: Pump, measured: PumpFacts
) -> None:
    # The four weeks that the curve was learned from are no exposure to a false alarm.
    assert outcome_of(make_pump(90, head_factor=healed(0.05, 60, 999)), measured).quiet_days == 60 - 28


def test_too_short_a_history_gives_no_delay(make_pump: Pump, measured: PumpFacts) -> None:
    test = outcome_of(make_pump(38), measured)
    assert test.look_days == 0
    assert present(test).delays_days == ()


def test_every_trial_has_its_whole_time_to_be_raised_in(make_pump: Pump, measured: PumpFacts) -> None:
    test = outcome_of(make_pump(28 + 20), measured)
    assert test.look_days == 10
    assert len(present(test).delays_days) == 11


@pytest.mark.parametrize("channel", ["flow", "head"])
def test_where_wear_cannot_be_seen_nothing_is_promised(
    make_pump: Pump, measured: PumpFacts, channel: str
) -> None:
    hours = hour_rows(make_pump(60), measured)
    curve = learn_curve(hours, measured)
    blind = replace(measured, **{channel: Provenance.ESTIMATED})
    assert back_test(hours, curve, blind, 0.03) is None


def test_without_a_curve_nothing_is_promised(make_pump: Pump, measured: PumpFacts) -> None:
    assert back_test(hour_rows(make_pump(2), measured), None, measured, 0.03) is None


def test_the_set_threshold_is_among_those_compared() -> None:
    mine = Limits(z=6.5, effect=0.017)
    assert mine in choices(mine)
    assert len(choices(mine)) == len(choices(HEAD_LIMITS)) + 1


def test_a_threshold_that_is_set_is_the_one_that_findings_keep_to(
    make_pump: Pump, measured: PumpFacts
) -> None:
    hours = hour_rows(make_pump(70, head_factor=healed(0.03, 45, 999)), measured)
    curve = learn_curve(hours, measured)
    strict = replace(measured, head_loss_notice=0.05)
    surer = replace(measured, head_loss_evidence_sd=1000.0)
    found = [slow_findings(hours, curve, facts) for facts in (measured, strict, surer)]
    assert [len(each) for each in found] == [1, 0, 0]


def part(pump: str, delays: tuple[float, ...], false_alarms: int = 0, quiet_days: int = 365) -> BackTest:
    limits = Limits(z=5.0, effect=0.01)
    return BackTest(
        pump=pump,
        loss=0.03,
        quiet_days=quiet_days,
        look_days=14,
        most_evidence_sd=2.0,
        present=limits,
        at=(AtLimits(limits=limits, false_alarms=false_alarms, delays_days=delays),),
    )


def together(*parts: BackTest) -> Outcome:
    return outcomes(parts)[0]


def test_several_pumps_are_summed_not_averaged() -> None:
    found = together(part("P01", (1.0, 2.0), false_alarms=1), part("P02", (3.0, 9.0, 9.0)))
    assert (found.trials, found.found, found.median_days, found.p90_days) == (5, 5, 3.0, 9.0)
    assert found.false_alarms_a_year.value == pytest.approx(1 / (2 * 365 / 365.25))


def test_a_percentile_that_was_never_reached_is_none_and_not_a_large_number() -> None:
    found = together(part("P01", (1.0, 2.0, 3.0, np.inf, np.inf)))
    assert (found.median_days, found.p90_days, found.found) == (3.0, None, 3)


def test_no_trials_have_no_delay() -> None:
    assert together(part("P01", ())).median_days is None


def test_no_pump_has_no_outcome() -> None:
    assert outcomes([]) == []
