"""A pump that shows one duty, or whose curve does not fall there, is judged like any other."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from api.analytics.curve import learn_curve
from api.analytics.drift import slow_findings
from api.analytics.facts import PumpFacts
from api.analytics.finding import Kind
from api.analytics.hours import hour_rows
from api.analytics.residual_days import head_shapes
from api.analytics.residuals import Residuals, residuals
from api.analytics.spans import DAY_MS

Pump = Callable[..., pd.DataFrame]
SPEED_RPM = 2600.0


def at_duty(
    frame: pd.DataFrame, flow_m3h: np.ndarray, bend: tuple[float, float], loss: float
) -> pd.DataFrame:
    """Return a pump at one speed whose head is 15 m + bend[0] Q + bend[1] Q², less a loss from day 40 on."""
    rng = np.random.default_rng(3)
    lost = np.where(frame.index >= frame.index[0] + 40 * DAY_MS, 1 - loss, 1.0)
    head = (15.0 + bend[0] * flow_m3h + bend[1] * flow_m3h**2) * lost
    return frame.assign(
        speed_rpm=SPEED_RPM,
        flow_m3h=flow_m3h * (1 + rng.normal(0, 0.004, len(frame))),
        head_m=head * (1 + rng.normal(0, 0.003, len(frame))),
        power_w=(500 + 22 * flow_m3h) * lost * (1 + rng.normal(0, 0.003, len(frame))),
    )


FLAT = (0.0, 0.0)
RISING = (0.2, -0.002)
FALLING = (-0.05, -0.008)


@pytest.mark.parametrize("bend", [FLAT, RISING, FALLING])
@pytest.mark.parametrize("swing", [0.0, 0.15])
@pytest.mark.parametrize("loss", [0.0, 0.05])
def test_it_is_told_worn_when_it_is_and_only_then(
    make_pump: Pump, measured: PumpFacts, bend: tuple[float, float], swing: float, loss: float
) -> None:
    frame = make_pump(60)
    flow = 14.0 * (1 + swing * np.sin(np.arange(len(frame)) / 25))
    hours = hour_rows(at_duty(frame, flow, bend, loss), measured)
    found = slow_findings(hours, learn_curve(hours, measured), measured)
    assert [finding.kind for finding in found] == ([Kind.HEAD_LOSS] if loss else [])
    assert all(finding.effect == pytest.approx(-loss, abs=0.012) for finding in found)


def judged(frame: pd.DataFrame, facts: PumpFacts) -> Residuals:
    hours = hour_rows(frame, facts)
    curve = learn_curve(hours, facts)
    assert curve is not None
    return residuals(hours, curve, facts)


def test_a_leak_takes_nothing_where_the_curve_rises(make_pump: Pump, measured: PumpFacts) -> None:
    frame = make_pump(40)
    flow = 14.0 * (1 + 0.15 * np.sin(np.arange(len(frame)) / 25))
    _, leak = head_shapes(judged(at_duty(frame, flow, RISING, 0.0), measured))
    assert leak.max() == 0.0


def test_a_leak_is_sized_by_the_usual_duty_where_the_curve_falls(
    make_pump: Pump, measured: PumpFacts
) -> None:
    _, leak = head_shapes(judged(make_pump(40), measured))
    assert np.median(leak) == pytest.approx(1.0, abs=0.1)
