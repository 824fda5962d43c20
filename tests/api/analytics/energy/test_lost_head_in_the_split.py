"""Head that a pump has lost makes the control turn it faster: that is the pump's own doing."""

from __future__ import annotations

import numpy as np
import pytest

from api.analytics.curve import Curve
from api.analytics.energy.factors import factors
from api.analytics.energy.split import Part, Split, split
from tests.api.analytics.energy.conftest import constant, flow_of, held, power_at, speed_at


def parted(curve: Curve, **now: float) -> Split:
    both = [factors(held(7 * week, 7, constant, **more), curve) for week, more in ((5, now), (1, {}))]
    assert both[0] is not None
    assert both[1] is not None
    return split(both[0], both[1])


@pytest.mark.parametrize("lost", [0.03, 0.08])
def test_a_loss_of_head_that_the_control_makes_up_for_is_put_down_to_the_pump(
    wide_curve: Curve, lost: float
) -> None:
    found = parted(wide_curve, lost=lost)
    assert found.change_kwh_per_m3 > 0
    assert found.parts[Part.PUMP] / found.change_kwh_per_m3 > 0.95
    assert found.parts[Part.HEAD] == pytest.approx(0.0, abs=1e-9)


def test_the_pumps_part_is_what_its_own_curve_says_the_loss_costs(wide_curve: Curve) -> None:
    found = parted(wide_curve, lost=0.05)
    # By the formulas of the invented pump: the same flow and head, turned faster by the lost head.
    flow = flow_of(np.arange(7 * 24) / 24)
    head = constant(flow)
    worn, own = (power_at(flow, speed_at(flow, head / left)).sum() for left in (0.95, 1.0))
    pumps_share = np.expm1(found.parts[Part.PUMP] / found.before_kwh_per_m3)
    assert pumps_share == pytest.approx(worn / own - 1, rel=0.05)


def test_a_loss_and_a_dearer_pump_are_told_together_as_the_pump(wide_curve: Curve) -> None:
    found = parted(wide_curve, lost=0.03, dearer=0.04)
    assert found.parts[Part.PUMP] / found.change_kwh_per_m3 > 0.95
