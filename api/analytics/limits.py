"""How sure and how large a change must be to be told."""

from __future__ import annotations

from typing import Final

from api.analytics.facts import PumpFacts
from api.analytics.verdicts import Limits

HEAD_LIMITS: Final = Limits(z=5.0, effect=0.008)
"""A loss of 1 % that is five standard errors wide (own study: misfit and sensor drift stay below both)."""

POWER_LIMITS: Final = Limits(z=6.0, effect=0.05)
"""Fluid and drive temperature move power by a few percent, so a shift of power alone needs 5 %."""


def head_limits(facts: PumpFacts) -> Limits:
    """Return when a change of head is raised: as the site file says, else as ``HEAD_LIMITS``."""
    return Limits(
        z=facts.head_loss_evidence_sd or HEAD_LIMITS.z, effect=facts.head_loss_notice or HEAD_LIMITS.effect
    )
