"""Likely causes of a lasting change, ranked by how well each one's template fits what head and power did.

For every cause the likelihood of the six numbers of the movement is integrated over the sizes believed in,
so that a cause which could be of any size does not win by that alone. Causes that fit alike are named
together; one that the shape over flow and speed tells apart stands alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.finding import Cause
from api.analytics.movement import Movement
from api.analytics.templates import Template

FloatArray = NDArray[np.float64]

LEAST_WEIGHT: Final = 0.05
SIZES: Final = 25

ALIKE: Final = (("ring_leakage", "flow_meter_reads_low"),)
"""Both move the point along the curve: named together unless one is ``TOLD_APART`` times as likely."""
TOLD_APART: Final = 40.0

OTHER: Final = "not_in_learned_causes"
OTHER_PRIOR: Final = 0.02
OTHER_SD: Final = np.array([0.06, 0.03, 0.03, 0.08, 0.04, 0.04])
"""Anything else: level and slopes of head and power by themselves, as far as faults take them."""


def rank(moved: Movement, templates: Sequence[Template]) -> tuple[Cause, ...]:
    """Return the causes with weight, likeliest first; weights of those left out are below 5 %."""
    logs: dict[str, float] = {OTHER: _other(moved)}
    for template in templates:
        logs[template.name] = float(
            np.logaddexp(logs.get(template.name, -np.inf), _log_weight(moved, template))
        )
    top = max(logs.values())
    total = sum(np.exp(value - top) for value in logs.values())
    weights = {name: float(np.exp(value - top) / total) for name, value in logs.items()}
    twins = {template.name: template.twins for template in templates}
    causes = [
        Cause(
            names=tuple(each for name in names for each in (name, *twins.get(name, ()))),
            weight=sum(weights[name] for name in names),
        )
        for names in _together(weights)
    ]
    ranked = sorted(causes, key=lambda cause: -cause.weight)
    return tuple(cause for cause in ranked if cause.weight >= LEAST_WEIGHT)


def weight_of(causes: Sequence[Cause], name: str) -> float:
    """Return the weight of the entry that names this cause, 0 if none does."""
    return sum(cause.weight for cause in causes if name in cause.names)


def _together(weights: dict[str, float]) -> list[tuple[str, ...]]:
    joined = [pair for pair in ALIKE if _alike(*(weights.get(name, 0.0) for name in pair))]
    alone = set(weights) - {name for pair in joined for name in pair}
    return [*joined, *((name,) for name in sorted(alone))]


def _alike(one: float, other: float) -> bool:
    return min(one, other) > 0 and max(one, other) < TOLD_APART * min(one, other)


def _log_weight(moved: Movement, template: Template) -> float:
    sizes = np.geomspace(*template.sizes, SIZES)
    logs = [
        _log_likelihood(
            moved.value - sign * size * template.mark, moved.covariance + size**2 * template.spread
        )
        for size in sizes.tolist()
        for sign in template.signs
    ]
    top = max(logs)
    return float(np.log(template.prior) + top + np.log(np.mean(np.exp(np.array(logs) - top))))


def _other(moved: Movement) -> float:
    broad = moved.covariance + np.diag(OTHER_SD**2)
    return float(np.log(OTHER_PRIOR)) + _log_likelihood(moved.value, broad)


def _log_likelihood(off: FloatArray, covariance: FloatArray) -> float:
    _, log_determinant = np.linalg.slogdet(covariance)
    return float(-0.5 * (log_determinant + off @ np.linalg.solve(covariance, off)))
