"""Provenance as declared: sensors, or a drive's own computation, by how head lies over speed and flow."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from api.analytics.facts import Provenance, PumpFacts
from api.proving import Verdict
from api.proving.declared import FEWEST_READINGS, provenance_note, provenance_proof
from collector.site import Pump

PLACE = "site.toml, line 14"
MEASURED, ESTIMATED, UNKNOWN = Provenance.MEASURED, Provenance.ESTIMATED, Provenance.UNKNOWN


def facts(flow: Provenance, head: Provenance) -> PumpFacts:
    return PumpFacts(
        pump="P11",
        speed=MEASURED,
        power=MEASURED,
        flow=flow,
        head=head,
        rated_speed_rpm=2900,
        rated_power_w=1500,
    )


def a_week(is_computed: bool, seed: int = 1, head_step_m: float = 0.1) -> pd.DataFrame:
    """Return a week of minutes of a pump of 20 m shutoff head whose demand wanders; a formula of this test.

    Computed flow follows from speed and the power as reported, and head from both; sensors add half a per
    cent of their own.
    """
    random = np.random.default_rng(seed)
    count = 7 * 1440
    wander = np.cumsum(random.normal(0, 0.03, count))
    share = (2400 + 350 * np.sin(wander)) / 2900
    flow = share * (13 + 5 * np.sin(0.7 * wander + 1))
    power = 600 * share**3 + 25 * share**2 * flow
    shown_power = np.round(power * (1 + random.normal(0, 0.004, count)))
    if is_computed:
        flow = (shown_power - 600 * share**3) / (25 * share**2)
    head = 20 * share**2 - 0.0125 * flow**2
    if not is_computed:
        flow = flow * (1 + random.normal(0, 0.006, count))
        head = head * (1 + random.normal(0, 0.005, count))
    return pd.DataFrame(
        {
            "speed_rpm": np.round(2900 * share),
            "power_w": shown_power,
            "flow_m3h": np.round(flow, 1),
            "head_m": np.round(head / head_step_m) * head_step_m,
        },
        index=pd.Index(1_780_272_000_000 + np.arange(count) * 60_000, name="time_utc_ms"),
    )


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("is_computed", "declared"), [(False, MEASURED), (True, ESTIMATED)])
def test_what_the_readings_confirm_holds(is_computed: bool, declared: Provenance, seed: int) -> None:
    proof = provenance_proof(a_week(is_computed, seed), facts(declared, declared), PLACE)
    assert proof is not None
    assert (proof.verdict, proof.changes) == (Verdict.HOLDS, ())


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(
    ("is_computed", "declared", "right"), [(True, MEASURED, "estimated"), (False, ESTIMATED, "measured")]
)
def test_the_wrong_one_is_named_by_its_line_and_the_right_one_with_it(
    is_computed: bool, declared: Provenance, right: str, seed: int
) -> None:
    proof = provenance_proof(a_week(is_computed, seed), facts(declared, declared), PLACE)
    assert proof is not None
    (change,) = proof.changes
    assert (proof.verdict, change.place) == (Verdict.CHANGE, PLACE)
    assert f'flow = "{right}", head = "{right}"' in change.to


@pytest.mark.parametrize("declared", [MEASURED, ESTIMATED])
def test_steps_that_hide_the_difference_prove_neither(declared: Provenance) -> None:
    frame = a_week(is_computed=False, head_step_m=5.0)
    frame["flow_m3h"] = np.round(frame["flow_m3h"] / 6) * 6
    proof = provenance_proof(frame, facts(declared, declared), PLACE)
    assert proof is not None
    assert (proof.verdict, proof.changes) == (Verdict.OPEN, ())


def test_head_measured_beside_an_estimated_flow_is_never_called_proven() -> None:
    proof = provenance_proof(a_week(is_computed=False), facts(ESTIMATED, MEASURED), PLACE)
    assert proof is not None
    assert proof.verdict is Verdict.OPEN


def test_head_declared_measured_but_computed_from_power_is_told() -> None:
    proof = provenance_proof(a_week(is_computed=True), facts(ESTIMATED, MEASURED), PLACE)
    assert proof is not None
    assert proof.verdict is Verdict.CHANGE


def test_nothing_is_said_of_what_is_not_declared_or_of_a_few_readings() -> None:
    week = a_week(is_computed=True)
    assert provenance_proof(week, facts(UNKNOWN, UNKNOWN), PLACE) is None
    assert provenance_proof(week.iloc[: FEWEST_READINGS - 1], facts(MEASURED, MEASURED), PLACE) is None


def test_what_is_not_held_against_readings_is_noted_as_taken_on_trust() -> None:
    pump = Pump.model_validate({"name": "P11", "provenance": {"flow": "measured", "head": "measured"}})
    assert "is taken as stated; 12 stored readings are too few" in provenance_note(pump, 12)
    undeclared = Pump.model_validate({"name": "P11"})
    assert "no wear is claimed until the manual says" in provenance_note(undeclared, 12)


def test_a_pump_that_never_moves_cannot_show_where_its_values_come_from() -> None:
    frame = a_week(is_computed=False)
    still = frame.assign(**{name: frame[name].iloc[0] for name in frame.columns})
    proof = provenance_proof(still, facts(MEASURED, MEASURED), PLACE)
    assert proof is not None
    assert proof.verdict is not Verdict.HOLDS
