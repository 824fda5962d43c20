"""What a finding costs: the energy taken beyond what the own curve would take for the same water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from api.analytics.curve import Curve
from api.analytics.energy.duties import Duties, speed_for_rpm
from api.analytics.finding import Finding, Kind

WEEKS_A_YEAR: Final = 365.25 / 7

OF_POWER: Final = frozenset({Kind.POWER_SHIFT, Kind.MECHANICAL_DRAG})
"""Their effect is a share of power at the same flow and speed."""
POWER_EVIDENCE: Final = "power_residual_fraction"
"""In a finding of lost head: power against the own curve at the same flow and speed [-]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """Energy that a finding cost in a period [kWh], with the interval that follows from its effect's.

    ``judged_share`` [-] is the share of the period's energy that this was worked out over; the rest is not
    extrapolated.
    """

    extra_kwh: float
    low_kwh: float
    high_kwh: float
    judged_share: float

    def times(self, factor: float) -> Worth:
        """Return the same for a period so many times as long."""
        return Worth(
            extra_kwh=self.extra_kwh * factor,
            low_kwh=self.low_kwh * factor,
            high_kwh=self.high_kwh * factor,
            judged_share=self.judged_share,
        )


def worth_of(finding: Finding, curve: Curve, seen: Duties) -> Worth | None:
    """Return what a finding cost over the hours of ``seen``, ``None`` for kinds that have no price in energy.

    - a loss of head: the speed that makes up for it is dearer than the speed that would have done, less what
      power fell by with the head (a smaller impeller lifts less and takes less);
    - power or drag: the share of power above the own curve's;
    - a rise of resistance: the head that it takes at the same flow, were all head friction (an upper bound
      where part of it is static).

    An effect without an interval gives an interval of no width.
    """
    if not len(seen) or finding.effect is None:
        return None
    low, high = (finding.effect if end is None else end for end in (finding.effect_low, finding.effect_high))
    ends = [_extra_kwh(finding, effect, curve, seen) for effect in (finding.effect, low, high)]
    told = [end for end in ends if end is not None]
    if len(told) < len(ends):
        return None
    return Worth(extra_kwh=told[0], low_kwh=min(told), high_kwh=max(told), judged_share=seen.judged_share)


def _extra_kwh(finding: Finding, effect: float, curve: Curve, seen: Duties) -> float | None:
    kind = finding.kind
    if kind is Kind.HEAD_LOSS:
        return _without_the_loss_kwh(effect, _power_shift(finding), curve, seen)
    if kind in OF_POWER and effect > -1:
        return float(seen.energy_kwh.sum()) * effect / (1 + effect)
    if kind is Kind.RESISTANCE_RISE and effect > -1:
        return _without_the_head_kwh(seen.head_m / (1 + effect), curve, seen)
    return None


def _power_shift(finding: Finding) -> float:
    """Return power against the own curve, as the finding's evidence says [-]; 0 where it does not."""
    shifts = [item.value for item in finding.evidence if item.name == POWER_EVIDENCE]
    return shifts[0] if shifts and np.isfinite(shifts[0]) and shifts[0] > -1 else 0.0


def _without_the_loss_kwh(effect: float, power_shift: float, curve: Curve, seen: Duties) -> float:
    """Return the energy above that of a pump without the loss at the same flow and head."""
    own_m = curve.head_m(seen.flow_m3h, seen.speed_rpm)
    healthy_rpm = speed_for_rpm(curve, seen.flow_m3h, own_m * (1 + effect))
    return _saved_kwh(healthy_rpm, curve, seen, 1 + power_shift)


def _without_the_head_kwh(head_m: np.ndarray, curve: Curve, seen: Duties) -> float:
    """Return the energy above that of the same pump, as it is now, at a smaller head."""
    kept = seen.head_m / curve.head_m(seen.flow_m3h, seen.speed_rpm)
    return _saved_kwh(speed_for_rpm(curve, seen.flow_m3h, head_m / kept), curve, seen)


def _saved_kwh(other_rpm: np.ndarray, curve: Curve, seen: Duties, over_own: float = 1.0) -> float:
    """Return what would be saved at another speed, with the power as it is so many times the own curve's."""
    drawn_w = curve.power_w(seen.flow_m3h, seen.speed_rpm) * over_own
    ratio = curve.power_w(seen.flow_m3h, other_rpm) / drawn_w
    return float(np.nansum(seen.energy_kwh * (1 - ratio)))
