"""Residuals of hours summed up by day, ready for the search for a change; and what they foretell."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.change import Days, Whitened, by_day, day_noise
from api.analytics.movement import Foretold
from api.analytics.residuals import HEAD_BELIEF_SD, POWER_BELIEF_SD, Residuals

FloatArray = NDArray[np.float64]

MOST_LEAK_SHAPE: Final = 4.0
MOST_LEVER: Final = 4.0


def head_shapes(judged: Residuals) -> list[FloatArray]:
    """Return how a loss of head may lie over the hours: everywhere alike, and as a leak past the rings.

    Erosion lowers head everywhere alike; leakage the more the steeper the curve is.
    """
    return [np.ones(len(judged.day)), np.clip(judged.steepness, 0.0, MOST_LEAK_SHAPE)]


def head_days(judged: Residuals, shape: FloatArray) -> Days:
    """Sum the head residuals up by day, with this shape of the change."""
    scale = evenness(judged.flow_lever)
    features = judged.features * scale[:, None]
    return by_day(judged.day, features, shape * scale, judged.head * scale, HEAD_BELIEF_SD)


def power_days(judged: Residuals) -> Days:
    """Sum the power residuals up by day.

    Power depends on speed in ways no law pins down, so it is judged only where the baseline has been; and
    only in hours without an episode of power, while head needs none.
    """
    known = judged.in_baseline_cells & judged.power_is_calm
    scale = evenness(judged.power_lever)[known]
    features = judged.features[known] * scale[:, None]
    return by_day(judged.day[known], features, scale, judged.power[known] * scale, POWER_BELIEF_SD)


def head_templates(judged: Residuals) -> tuple[Days, ...]:
    """Return the judged hours' residuals of head by day, once for each shape that a loss may have."""
    first, *others = (head_days(judged, shape) for shape in head_shapes(judged))
    # What they share is held once.
    return first, *(replace(part, day=first.day, hours=first.hours, inside=first.inside) for part in others)


def foretold(head: Days, power: Days) -> Foretold:
    """Return what these days know, all before a change and some of them in baseline cells."""
    head_noise, power_noise = day_noise(head), day_noise(power)
    return Foretold(
        head=Whitened.of(head, head_noise).beta(),
        power=Whitened.of(power, power_noise).beta(),
        head_noise=head_noise,
        power_noise=power_noise,
        days=len(head.day),
        hours=int(head.hours.sum()),
    )


def evenness(lever: FloatArray) -> FloatArray:
    """Return how much each hour counts [-], by how far the flow meter's own drift would move it."""
    # A drift of the flow meter shows in the residual by the lever, one of the other sensor as it is.
    spread = np.sqrt(1 + np.clip(lever, -MOST_LEVER, MOST_LEVER) ** 2)
    return np.asarray(np.sqrt(2) / spread)
