"""Likely causes of a lasting change in head, ranked by what power did at the same flow and speed.

Each cause moves power by a known share of what it does to head. Two that move both alike cannot be told
apart and share one entry.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from api.analytics.finding import Cause

SURE_WEIGHT: Final = 0.9
"""A sensor is named as the fault only at this weight; below it a loss of head is called just that."""
LEAST_WEIGHT: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A relative change [-] with its standard error."""

    effect: float
    standard_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """What a cause does to power for a unit change of head, how pumps differ in it, how common it is."""

    names: tuple[str, ...]
    power_per_head: float
    spread: float
    prior: float


def head_causes(
    head: Change, power: Change | None, power_lever: float, head_lever: float
) -> tuple[Cause, ...]:
    """Rank the causes of a change of head at the same flow and speed.

    ``power_lever`` and ``head_lever`` are the relative changes of power and head for a relative change of
    flow at the usual duty; ``power`` is ``None`` when power cannot be judged, and then all causes share.
    """
    signatures = _signatures(head.effect < 0, _moved_along_curve(power_lever, head_lever))
    if power is None:
        return (Cause(names=tuple(name for part in signatures for name in part.names), weight=1.0),)
    logs = np.array([_log_weight(part, head, power) for part in signatures])
    weights = np.exp(logs - logs.max()) / np.exp(logs - logs.max()).sum()
    ranked = sorted(zip(weights.tolist(), signatures, strict=True), key=lambda pair: -pair[0])
    return tuple(Cause(names=part.names, weight=weight) for weight, part in ranked if weight >= LEAST_WEIGHT)


def _moved_along_curve(power_lever: float, head_lever: float) -> float:
    # A flat head curve makes the share of power huge; beyond 3 nothing more is learned from it.
    return float(np.clip(power_lever / min(head_lever, -0.05), -3.0, 3.0))


def _signatures(lower: bool, along: float) -> tuple[Signature, ...]:
    if lower:
        return (
            # Leakage and a meter that reads low both move the point along the curve: the same signature.
            Signature(
                names=("ring_leakage", "flow_meter_reads_low"), power_per_head=along, spread=0.25, prior=0.4
            ),
            Signature(names=("impeller_wear",), power_per_head=0.8, spread=0.35, prior=0.35),
            Signature(names=("head_sensor_reads_low",), power_per_head=0.0, spread=0.05, prior=0.15),
            # Glycol or cold takes a little head by its thickness and adds more power by its weight.
            Signature(names=("fluid_changed",), power_per_head=-4.0, spread=1.5, prior=0.1),
        )
    return (
        Signature(names=("flow_meter_reads_high",), power_per_head=along, spread=0.25, prior=0.4),
        Signature(names=("head_sensor_reads_high",), power_per_head=0.0, spread=0.05, prior=0.4),
        Signature(names=("fluid_changed",), power_per_head=1.0, spread=0.1, prior=0.2),
    )


def _log_weight(part: Signature, head: Change, power: Change) -> float:
    off = power.effect - part.power_per_head * head.effect
    variance = (
        power.standard_error**2
        + (part.power_per_head * head.standard_error) ** 2
        + (part.spread * head.effect) ** 2
    )
    return float(np.log(part.prior) - 0.5 * np.log(variance) - 0.5 * off**2 / variance)
