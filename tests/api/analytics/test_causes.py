"""Causes are ranked by what power did; those that look alike are named together."""

from __future__ import annotations

import pytest

from api.analytics.causes import Change, head_causes
from api.analytics.finding import Cause

HEAD = Change(effect=-0.04, standard_error=0.002)
LEVERS = {"power_lever": 0.5, "head_lever": -0.6}


def first(power: float) -> Cause:
    return head_causes(HEAD, Change(effect=power, standard_error=0.002), **LEVERS)[0]


@pytest.mark.parametrize(
    ("power", "name"),
    [
        (0.033, "ring_leakage"),
        (-0.032, "impeller_wear"),
        (0.0, "head_sensor_reads_low"),
        (0.15, "fluid_changed"),
    ],
)
def test_what_power_did_ranks_the_causes(power: float, name: str) -> None:
    assert name in first(power).names


def test_leakage_never_stands_without_the_low_flow_meter() -> None:
    assert first(0.033).names == ("ring_leakage", "flow_meter_reads_low")


def test_without_power_all_causes_share_one_entry() -> None:
    causes = head_causes(HEAD, None, **LEVERS)
    assert len(causes) == 1
    assert {"ring_leakage", "impeller_wear", "head_sensor_reads_low"} <= set(causes[0].names)


def test_weights_are_shares_of_one() -> None:
    causes = head_causes(HEAD, Change(effect=0.01, standard_error=0.02), **LEVERS)
    assert 0.9 <= sum(cause.weight for cause in causes) <= 1.0 + 1e-9
    assert [cause.weight for cause in causes] == sorted((cause.weight for cause in causes), reverse=True)


def test_an_unsure_power_leaves_several_causes() -> None:
    assert len(head_causes(HEAD, Change(effect=0.0, standard_error=0.03), **LEVERS)) >= 3


def test_head_that_rises_is_never_called_wear() -> None:
    risen = Change(effect=0.04, standard_error=0.002)
    names = {
        name
        for cause in head_causes(risen, Change(effect=0.0, standard_error=0.01), **LEVERS)
        for name in cause.names
    }
    assert not names & {"ring_leakage", "impeller_wear"}
