"""Before there is an own curve the data sheet's tells dry from closed, with wider bars, or nothing does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from api.analytics.facts import PumpFacts
from api.analytics.finding import Kind
from api.analytics.states import fast_findings, watches_flow
from api.analytics.states.sheet_curve import sheet_curve
from tests.api.analytics.states.hand_made import (
    CURVE,
    ESTIMATED,
    FACTS,
    QuadraticCurve,
    between,
    readings,
    without_flow,
)

FLOWS = (0.0, 6.0, 12.0, 17.0, 21.0)


def with_sheet(facts: PumpFacts, power: float = 1.0) -> PumpFacts:
    """Return the facts with the made pump's sheet, whose power is a share of what the pump takes."""
    curve = QuadraticCurve()
    points = (
        (
            flow,
            float(curve.head_m(np.float64(flow), 2900.0)),
            power * float(curve.power_w(np.float64(flow), 2900.0)),
        )
        for flow in FLOWS
    )
    return replace(facts, data_sheet=tuple(points))


def kinds(frame: pd.DataFrame, facts: PumpFacts) -> list[Kind]:
    return [one.kind for one in fast_findings(frame, None, facts)]


@pytest.mark.parametrize("speed_rpm", [1450.0, 2600.0, 2900.0])
def test_the_sheet_is_carried_over_speed_by_the_affinity_laws(speed_rpm: float) -> None:
    """Head as the square, power as the cube of speed at the same flow/speed (ISO 17769-1, from memory)."""
    curve = sheet_curve(with_sheet(FACTS))
    assert curve is not None
    flow = np.array([0.0, 7.0, 15.0]) * speed_rpm / 2900
    assert curve.head_m(flow, speed_rpm) == pytest.approx(CURVE.head_m(flow, np.float64(speed_rpm)))
    assert curve.power_w(flow, speed_rpm) == pytest.approx(CURVE.power_w(flow, np.float64(speed_rpm)))


@pytest.mark.parametrize("facts", [FACTS, ESTIMATED], ids=["measured", "estimated"])
@pytest.mark.parametrize("sheet_power", [0.92, 1.0, 1.08])
@pytest.mark.parametrize(
    ("power", "head", "kind"), [(0.35, 0.05, Kind.DRY_RUNNING), (0.85, 1.0, Kind.CLOSED_DISCHARGE)]
)
def test_dry_and_closed_are_told_by_the_sheet(
    power: float, head: float, kind: Kind, sheet_power: float, facts: PumpFacts
) -> None:
    frame = readings(3)
    frame = without_flow(frame, between(frame, 7200, 9000), power=power, head=head)
    assert kinds(frame, with_sheet(facts, sheet_power)) == [kind]


@pytest.mark.parametrize("sheet_power", [0.8, 1.0, 1.2])
@pytest.mark.parametrize("facts", [FACTS, ESTIMATED], ids=["measured", "estimated"])
def test_a_healthy_pump_is_silent_whatever_its_sheet_says_of_power(
    facts: PumpFacts, sheet_power: float
) -> None:
    assert kinds(readings(3), with_sheet(facts, sheet_power)) == []


def test_power_between_dry_and_closed_is_dry_by_an_own_curve_and_not_by_a_sheet() -> None:
    frame = readings(2)
    frame = without_flow(frame, between(frame, 3600, 5400), power=0.55, head=1.0)
    assert [one.kind for one in fast_findings(frame, CURVE, ESTIMATED)] == [Kind.DRY_RUNNING]
    assert Kind.DRY_RUNNING not in kinds(frame, with_sheet(ESTIMATED))


def test_the_evidence_says_that_a_sheet_stood_in() -> None:
    frame = readings(3)
    frame = without_flow(frame, between(frame, 7200, 9000), power=0.35, head=0.05)
    (one,) = fast_findings(frame, None, with_sheet(FACTS))
    assert {item.name: item.value for item in one.evidence}["by_data_sheet"] == 1.0


def test_an_own_curve_goes_before_the_sheet() -> None:
    frame = readings(3)
    frame = without_flow(frame, between(frame, 7200, 9000), power=0.35, head=0.05)
    (one,) = fast_findings(frame, CURVE, with_sheet(FACTS))
    assert "by_data_sheet" not in {item.name for item in one.evidence}


@pytest.mark.parametrize(
    "facts",
    [
        FACTS,
        replace(with_sheet(FACTS), rated_speed_rpm=None),
        replace(FACTS, data_sheet=((0.0, 20.0, None), (10.0, 18.0, None), (20.0, 15.0, None))),
        replace(FACTS, data_sheet=((0.0, 20.0, 600.0), (20.0, 15.0, 1100.0))),
    ],
    ids=["no sheet", "no rated speed", "no power", "two points"],
)
def test_without_any_curve_it_says_that_it_does_not_watch(facts: PumpFacts) -> None:
    assert not watches_flow(None, facts)
    assert watches_flow(CURVE, facts)
    assert watches_flow(None, with_sheet(FACTS))
