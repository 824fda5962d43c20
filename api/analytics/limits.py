"""How sure and how large a change must be to be told."""

from __future__ import annotations

from typing import Final

from api.analytics.curve import SPEED_SCALE, Curve
from api.analytics.facts import PumpFacts
from api.analytics.verdicts import Limits

HEAD_LIMITS: Final = Limits(z=5.0, effect=0.008)
"""A loss of 1 % that is five standard errors wide (own study: misfit and sensor drift stay below both)."""

POWER_LIMITS: Final = Limits(z=6.0, effect=0.05)
"""Fluid and drive temperature move power by a few percent, so a shift of power alone needs 5 %."""


STEADY_STEPS: Final = 3.0
"""A speed that keeps within so many of its steps may move by one unseen; one that roams averages it out."""


def head_limits(facts: PumpFacts, curve: Curve | None = None) -> Limits:
    """Return when a change of head is raised: as the site file says, else as ``HEAD_LIMITS``.

    Beyond that, what a step of the speed register may hide is never raised as a change of the pump.
    """
    hidden = hidden_by_speed(curve) if curve is not None else 0.0
    return Limits(
        z=facts.head_loss_evidence_sd or HEAD_LIMITS.z,
        effect=(facts.head_loss_notice or HEAD_LIMITS.effect) + hidden,
        hidden=hidden,
    )


def hidden_by_speed(curve: Curve) -> float:
    """Return the share [-] of head that true speed may move it by while its register shows the same.

    Head goes with the square of speed (affinity law), so that one step unseen is twice its share of speed.
    """
    low, high = curve.log_speed_range
    roams_rpm = (high - low) * SPEED_SCALE * curve.typical_speed_rpm
    if roams_rpm > STEADY_STEPS * curve.speed_step_rpm:
        return 0.0
    return 2 * curve.speed_step_rpm / curve.typical_speed_rpm
