"""Head of a check against the head that the pump should give, and which of two wears it is likelier to be."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from api.analytics.field_check.expected import Expected, Point

COVERAGE: Final = 2.0
"""Standard uncertainties to each side for 95 % (GUM, JCGM 100:2008, 6.3.3; from memory)."""
_LEAKS_UP_TO: Final = 0.35
_ERODES_FROM: Final = 0.7
"""Loss at shutoff over loss at duty, both relative. Worked out for a parabola that falls by a fifth from
shutoff to duty: a leak past worn rings acts like a little more flow, which costs next to nothing where the
curve is flat (0.04 for 5 % at duty); a smaller impeller loses by the square of its diameter (0.8). That
worn rings nearly keep shutoff head is known in the trade (from memory); the limits are our own choice."""


class Verdict(StrEnum):
    """What a head says of a pump."""

    BELOW = "below"
    AS_EXPECTED = "as_expected"
    """Nothing is shown: a loss within the interval would not be seen."""
    ABOVE = "above"


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Head over the expected head, minus one [-], with its standard uncertainties.

    ``measured_sd`` comes from this visit's readings, ``expected_sd`` from how well the other side is known.
    """

    effect: float
    measured_sd: float
    expected_sd: float
    by: str

    @property
    def interval(self) -> tuple[float, float]:
        """Return the 95 % interval [-]."""
        wide = COVERAGE * math.hypot(self.measured_sd, self.expected_sd)
        return self.effect - wide, self.effect + wide

    @property
    def verdict(self) -> Verdict:
        """Return what can be said: only an interval that leaves zero out says anything."""
        low, high = self.interval
        return Verdict.BELOW if high < 0 else Verdict.ABOVE if low > 0 else Verdict.AS_EXPECTED


def loss(point: Point, expected: Expected) -> Loss:
    """Return the head of a check against the expected one.

    Flow enters twice, by velocity head and by the place on the curve, and so does speed: both effects of each
    are added with their signs before they are squared (JCGM 100, 5.1.2, of one and the same input).
    """
    share = point.head_m / expected.head_m
    by_flow = (point.head_per_flow - share * expected.slope_m_per_m3h) * point.flow_sd_m3h
    per_speed = (2 * expected.head_m - expected.slope_m_per_m3h * point.flow_m3h) / point.speed_rpm
    by_speed = share * per_speed * point.speed_sd_rpm
    measured_m = math.hypot(point.head_sd_m, by_flow, by_speed)
    return Loss(
        effect=share - 1,
        measured_sd=measured_m / expected.head_m,
        expected_sd=share * expected.sd_m / expected.head_m,
        by=expected.by,
    )


def likely_causes(at_duty: Loss | None, at_shutoff: Loss | None) -> tuple[str, ...]:
    """Return what a loss may be, as codes; several are not to be told apart, and none is no loss.

    Both checks against the same reference tell ring leakage from an impeller that gives less: the first
    nearly keeps its shutoff head. What is not known of the reference is common to both and drops out.
    """
    if at_duty is None or at_duty.verdict is not Verdict.BELOW:
        return _at_shutoff_alone(at_shutoff)
    both = ("ring_leakage", "impeller_wear")
    if at_shutoff is None or at_shutoff.by != at_duty.by:
        return both
    no_impeller = _is_surely_above(at_shutoff, _ERODES_FROM, at_duty)
    no_leak = _is_surely_below(at_shutoff, _LEAKS_UP_TO, at_duty)
    if no_impeller == no_leak:
        return both  # Neither is ruled out; or each alone is, and it is some of both.
    return ("ring_leakage",) if no_impeller else ("impeller_wear",)


def _at_shutoff_alone(at_shutoff: Loss | None) -> tuple[str, ...]:
    # A leak would hardly show there; a valve that does not shut would.
    if at_shutoff is None or at_shutoff.verdict is not Verdict.BELOW:
        return ()
    return ("impeller_wear", "valve_not_shut")


def _is_surely_above(shutoff: Loss, share: float, duty: Loss) -> bool:
    return shutoff.effect - share * duty.effect > COVERAGE * _sd(shutoff, share, duty)


def _is_surely_below(shutoff: Loss, share: float, duty: Loss) -> bool:
    return shutoff.effect - share * duty.effect < -COVERAGE * _sd(shutoff, share, duty)


def _sd(shutoff: Loss, share: float, duty: Loss) -> float:
    return math.hypot(shutoff.measured_sd, share * duty.measured_sd)
