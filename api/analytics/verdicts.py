"""What stands at the end of a day, when that is an alarm, and how days of alarm join into one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

SUPPORTED_SHARE: Final = 0.7
"""Where power fell too, a loss of head is an alarm at this share of the evidence (tuning families)."""

SUPPORT_Z: Final = 4.0
SUPPORT_EFFECT: Final = 0.008
"""How surely and how far [-] power must have fallen since the same day to count as support. Drift of the flow
meter moves head and power apart, warmth or glycol moves power: neither makes both fall."""

JOINED_DAYS: Final = 14
"""Alarms closer than this, in days, are one: a fault does not heal for a week and come back."""


NORMAL_95: Final = 1.96
FORM_ERROR: Final = 0.06
"""Share of an effect by which it may be off where the duty moved with the fault (tuning fleet: 6 %)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """When a change is an alarm: at least ``z`` standard errors and at least ``effect`` [-] in size.

    ``hidden`` [-] may be there without being a change of the pump: what its level is must be beyond it.
    """

    z: float
    effect: float
    hidden: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What stands at the end of one day: change day, effect [-] with its standard error.

    ``recent`` [-] is the mean of the last days against what the days before the change foretell, ``level``
    that of all days after a step, or ``recent`` again for a ramp or where the change has grown since; it is
    the mean of the days from ``level_from_day`` on and has the standard error ``level_error``. ``effect``
    shares the change out with what else may explain it, and is the smaller: it decides, ``level`` is what
    is reported. ``power_effect`` [-] and ``power_z`` are what a step on the same day has done to power, 0
    where nothing is known of it: support for a loss of head, never an alarm.
    """

    last_day: int
    change_day: int
    is_ramp: bool
    effect: float
    standard_error: float
    recent: float
    level: float
    level_from_day: int
    level_error: float
    power_effect: float = 0.0
    power_z: float = 0.0

    @property
    def z(self) -> float:
        """Return the effect in standard errors."""
        return self.effect / self.standard_error


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """A stretch of days on which a change stood: when first raised, and the verdict at its end."""

    raised_day: int
    verdict: Verdict
    active: bool


def alarms(verdicts: Sequence[Verdict], limits: Limits) -> list[Alarm]:
    """Join the days on which a change of the same sign stands into alarms, oldest first."""
    found: list[Alarm] = []
    for verdict in verdicts:
        if not stands(verdict, limits):
            continue
        found = joined(found, verdict)
    last_day = verdicts[-1].last_day if verdicts else 0
    return [
        Alarm(raised_day=alarm.raised_day, verdict=alarm.verdict, active=alarm.verdict.last_day == last_day)
        for alarm in found
    ]


def stands(verdict: Verdict, limits: Limits) -> bool:
    """Whether the verdict is an alarm: sure, large, still there in the last days, and not to be told as 0."""
    sign = float(np.sign(verdict.effect))
    still_there = verdict.recent * sign >= limits.effect / 2
    is_clear = verdict.level * sign > half_width(verdict, limits.hidden)
    sure = abs(verdict.z) >= limits.z * (SUPPORTED_SHARE if _supported(verdict) else 1.0)
    return sure and abs(verdict.effect) >= limits.effect and still_there and is_clear


def half_width(verdict: Verdict, hidden: float) -> float:
    """Return how far [-] on either side of its level the truth may lie, 95 %: what is told beside it."""
    return NORMAL_95 * float(np.hypot(verdict.level_error, FORM_ERROR * verdict.level)) + hidden


def _supported(verdict: Verdict) -> bool:
    fell = verdict.power_effect <= -SUPPORT_EFFECT and verdict.power_z <= -SUPPORT_Z
    return verdict.effect < 0 and fell


def joined(found: Sequence[Alarm], verdict: Verdict) -> list[Alarm]:
    """Return the alarms with one more verdict that stands: part of the last one, or a new one."""
    if found and _continues(found[-1].verdict, verdict):
        return [*found[:-1], Alarm(raised_day=found[-1].raised_day, verdict=verdict, active=True)]
    return [*found, Alarm(raised_day=verdict.last_day, verdict=verdict, active=True)]


def _continues(earlier: Verdict, later: Verdict) -> bool:
    near = later.last_day - earlier.last_day <= JOINED_DAYS
    return near and np.sign(earlier.effect) == np.sign(later.effect)
