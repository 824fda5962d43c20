"""The yardstick itself: fleets repeat, held-out families stay apart, intervals are the published ones."""

from __future__ import annotations

import numpy as np
import pytest

from simulator.plant.spec import PumpSpec
from tests.fleet.cases import START_UTC_MS, Case, readings, run, true_head_change
from tests.fleet.families import FAMILIES, HELD_OUT, SEEN, TUNED, draw
from tests.fleet.intervals import rate, share


def test_the_same_seed_draws_the_same_pump() -> None:
    assert draw(FAMILIES["K"], 3) == draw(FAMILIES["K"], 3)


def test_other_seeds_draw_other_pumps() -> None:
    assert len({draw(FAMILIES["K"], seed) for seed in range(20)}) == 20


def test_no_family_is_both_tuned_on_and_held_out() -> None:
    assert not {family.name for family in TUNED + SEEN} & {family.name for family in HELD_OUT}
    assert all(family.tuned_on for family in TUNED + SEEN)
    assert not any(family.tuned_on for family in HELD_OUT)


@pytest.mark.parametrize("family", sorted(FAMILIES))
def test_every_family_draws_pumps_that_move_water(family: str) -> None:
    frame = readings(Case(family=family, seed=0, days=2))
    assert isinstance(draw(FAMILIES[family], 0), PumpSpec)
    assert frame["flow_m3h"].max() > 0
    assert frame.index[0] == START_UTC_MS


def test_a_wear_of_three_percent_takes_three_percent_of_head_at_the_duty() -> None:
    worn = Case(family="A", seed=1, days=70, fault="ring_leakage", severity=0.03, at_duty=True)
    assert true_head_change(worn) == pytest.approx(-0.03, abs=0.002)


def test_no_alarm_in_200_years_bounds_the_rate_by_the_rule_of_three() -> None:
    # Source: Hanley and Lippman-Hand, JAMA 249, 1983: the 95 % bound is 3/n (exactly -ln 0.05 = 2.9957).
    assert rate(0, 200).high == pytest.approx(2.9957 / 200, rel=1e-4)


def test_none_of_thirty_bounds_the_share_at_twelve_percent() -> None:
    # Clopper and Pearson: 1 - 0.025^(1/30) = 0.1157.
    assert share(0, 30).high == pytest.approx(0.1157, abs=1e-4)


@pytest.mark.parametrize("family", ["K", "L", "M"])
def test_a_loss_of_five_percent_is_named_on_a_family_never_tuned_on(family: str) -> None:
    outcome = run(Case(family=family, seed=77, days=75, fault="impeller_wear", severity=0.05, at_duty=True))
    assert outcome.raised_after_d is not None
    assert outcome.raised_after_d < 7
    assert outcome.wear_claims


@pytest.mark.parametrize("family", ["K", "L", "M"])
def test_a_healthy_pump_of_a_family_never_tuned_on_stays_silent(family: str) -> None:
    assert run(Case(family=family, seed=78, days=120)).pump_alarms == ()


@pytest.mark.parametrize("family", ["K", "L", "M"])
def test_estimated_readings_of_a_worn_pump_claim_no_wear(family: str) -> None:
    worn = Case(family=family, seed=79, days=90, fault="impeller_wear", severity=0.1, estimated=True)
    outcome = run(worn)
    assert outcome.pump_alarms == ()
    assert [finding.causes[0].names for finding in outcome.findings] == [("estimated_flow_or_head",)]
    assert np.isnan(readings(worn)["head_m"]).sum() == 0
