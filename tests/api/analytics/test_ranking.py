"""Causes are ranked by what head and power did together over flow and speed; those alike stand together."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import learn_curve
from api.analytics.facts import PumpFacts
from api.analytics.finding import Cause
from api.analytics.hours import hour_rows
from api.analytics.movement import Movement, movement
from api.analytics.ranking import ALIKE, LEAST_WEIGHT, OTHER, rank, weight_of
from api.analytics.residual_days import foretold, power_days
from api.analytics.residual_days import head_templates as head_templates_by_day
from api.analytics.residuals import Residuals, residuals
from api.analytics.spans import DAY_MS
from api.analytics.templates import GAIN_FELL, Template, head_templates, power_templates

FAULT_DAY = 30
Pump = Callable[..., pd.DataFrame]
Change = Callable[[pd.DataFrame], None]


@pytest.fixture
def moved(make_pump: Pump, measured: PumpFacts) -> Callable[[Change], Movement]:
    """Readings of a pump whose late ones are changed by hand, as movement."""

    def of(change: Change) -> Movement:
        frame = make_pump(50)
        late = frame.index >= frame.index[0] + FAULT_DAY * DAY_MS
        part = frame[late].copy()
        change(part)
        frame = pd.concat([frame[~late], part])
        judged = judged_hours(frame, measured)
        day = int(frame.index[0]) // DAY_MS + FAULT_DAY
        before = judged.where(judged.day < day)
        known = foretold(head_templates_by_day(before)[0], power_days(before))
        found = movement(judged.where(judged.day >= day), known)
        assert found is not None
        return found

    return of


def judged_hours(frame: pd.DataFrame, facts: PumpFacts) -> Residuals:
    hours = hour_rows(frame, facts)
    curve = learn_curve(hours, facts)
    assert curve is not None
    return residuals(hours, curve, facts)


def scaled(**factors: float) -> Change:
    def change(part: pd.DataFrame) -> None:
        for name, factor in factors.items():
            part[name] *= factor

    return change


def head_offset(part: pd.DataFrame) -> None:
    part["head_m"] -= 0.06 * part["head_m"].median()


def torque(part: pd.DataFrame) -> None:
    part["power_w"] += 0.12 * part["power_w"].median() * part["speed_rpm"] / part["speed_rpm"].median()


def level(moved: Movement, templates: Callable[[Movement, float], list[Template]]) -> float:
    return float(moved.value[0 if templates is head_templates else 3])


def first(moved: Movement, templates: Callable[[Movement, float], list[Template]]) -> Cause:
    return rank(moved, templates(moved, level(moved, templates)))[0]


@pytest.mark.parametrize(
    ("change", "name"),
    [
        (scaled(head_m=0.95, power_w=0.96), "impeller_wear"),
        (scaled(head_m=0.95), "rough_passages"),
        (scaled(head_m=0.95), "head_sensor_gain_fell"),
        (scaled(head_m=1.05), "head_sensor_reads_high"),
        (scaled(flow_m3h=0.9), "flow_meter_reads_low"),
        (scaled(flow_m3h=1.1), "flow_meter_reads_high"),
        (scaled(head_m=0.99, power_w=1.04), "fluid_changed"),
        (scaled(head_m=1.03, power_w=1.03), "fluid_changed"),
    ],
)
def test_head_and_power_together_name_the_cause(
    moved: Callable[[Change], Movement], change: Change, name: str
) -> None:
    assert name in first(moved(change), head_templates).names


@pytest.mark.parametrize(
    ("change", "name"),
    [
        (torque, "mechanical_drag"),
        (scaled(power_w=1.15), "power_reads_high"),
        (scaled(power_w=0.9), "power_reads_low"),
    ],
)
def test_power_over_speed_tells_drag_from_a_wrong_reading(
    moved: Callable[[Change], Movement], change: Change, name: str
) -> None:
    cause = first(moved(change), power_templates)
    assert cause.names == (name,)
    assert cause.weight > 0.9


def test_weights_are_shares_of_one_in_falling_order(moved: Callable[[Change], Movement]) -> None:
    found = moved(scaled(head_m=0.97, power_w=1.005))
    templates = head_templates(found, -0.03)
    causes = rank(found, templates)
    weights = [cause.weight for cause in causes]
    assert weights == sorted(weights, reverse=True)
    assert min(weights) >= LEAST_WEIGHT
    assert 1 - len(templates) * LEAST_WEIGHT < sum(weights) <= 1 + 1e-9


def test_what_no_template_does_is_called_unknown(moved: Callable[[Change], Movement]) -> None:
    assert first(moved(scaled(head_m=0.94, power_w=1.3)), head_templates).names == (OTHER,)


def test_a_head_that_rose_is_never_called_wear(moved: Callable[[Change], Movement]) -> None:
    found = moved(scaled(head_m=1.04, power_w=1.01))
    causes = rank(found, head_templates(found, 0.04))
    assert weight_of(causes, "ring_leakage") == 0
    assert weight_of(causes, "impeller_wear") == 0


def test_a_share_of_head_alone_is_never_laid_on_the_sensor_only(
    moved: Callable[[Change], Movement],
) -> None:
    assert first(moved(scaled(head_m=0.94)), head_templates).names == ("rough_passages", GAIN_FELL)


def test_where_head_hardly_moves_an_amount_and_a_share_of_it_are_both_named(
    moved: Callable[[Change], Movement],
) -> None:
    found = moved(head_offset)
    causes = rank(found, head_templates(found, -0.06))
    assert {cause.names for cause in causes} == {("rough_passages", GAIN_FELL), ("head_sensor_reads_low",)}


@pytest.mark.parametrize("level", [-0.05, 0.05])
def test_no_cause_is_asked_that_moves_it_the_other_way(
    moved: Callable[[Change], Movement], level: float
) -> None:
    found = moved(scaled(head_m=0.97))
    of_head, of_power = head_templates(found, level), power_templates(found, level)
    assert all(sign * each.mark[0] * level > 0 for each in of_head for sign in each.signs)
    assert all(sign * each.mark[3] * level > 0 for each in of_power for sign in each.signs)
    assert {"head_sensor_reads_high", "flow_meter_reads_high"} & {each.name for each in of_head} == (
        {"head_sensor_reads_high", "flow_meter_reads_high"} if level > 0 else set()
    )


def test_causes_that_fit_alike_are_named_together() -> None:
    alike = np.array([-1.0, 0.0, 0.0, 0.5, 0.0, 0.0])
    templates = [Template(name=name, mark=alike, spread=np.eye(6) * 0.01, prior=0.2) for name in ALIKE[0]]
    moved = Movement(
        value=0.04 * alike,
        covariance=np.eye(6) * 1e-5,
        hours=None,
        operator=np.zeros((3, 1)),  # type: ignore[arg-type]
    )
    assert rank(moved, templates)[0].names == ALIKE[0]


def test_a_movement_equals_its_regression_by_hand(moved: Callable[[Change], Movement]) -> None:
    # The level of a uniform change is that change, and its slopes are zero: least squares of a constant.
    found = moved(scaled(head_m=0.95))
    assert found.of(1.0, 0.0) == pytest.approx([1, 0, 0, 0, 0, 0], abs=0.02)
    assert found.value[0] == pytest.approx(-0.05, abs=4 * float(np.sqrt(found.covariance[0, 0])))
