"""What the drive reported in the minutes of a check, and whether it is what it is declared to be.

A gauge or a strap-on meter against the drive's own value says how good that value is. It never says
anything of the pump's wear, least of all where the drive computes the value.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.field_check.loss import COVERAGE

STEADY: Final = 0.05
"""Speed that spans more than this in the minutes of a check makes one check of several duties (our own)."""
NOT_WORTH_IT: Final = 0.02
"""So much beside the true value [-] nobody would correct (common practice: a drive's flow within 5 %)."""
_APART: Final = 0.15
"""Values of two checks this far apart can tell an offset from a gain (our own choice)."""
_UNIT_MISTAKES: Final = {
    3.2808: "feet read as metres",
    0.3048: "metres read as feet",
    0.7031: "psi read as metres",
    2.3067: "feet read as psi",
    10.22: "bar read as metres",
    0.0979: "metres read as bar",
    4.4029: "gpm read as m3/h",
    0.2271: "m3/h read as gpm",
    3.6: "m3/h read as L/s",
    0.2778: "L/s read as m3/h",
    10.0: "a decimal place",
    0.1: "a decimal place",
}
"""What the drive says over what was measured, where a register map holds a wrong unit: the factor between."""
_FACTOR_WITHIN: Final = 0.02

_VAGUE: Final = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported:
    """A quantity's mean over the minutes of a check, the scatter of single readings, and how many."""

    mean: float
    sd: float
    count: int

    @property
    def mean_sd(self) -> float:
        """Return the standard uncertainty of the mean, taken for no better than three readings' worth.

        Readings of the same minutes are not independent, so that many of them help little.
        """
        return self.sd / math.sqrt(min(self.count, 3))


def reported(readings: pd.DataFrame) -> Mapping[str, Reported]:
    """Return each quantity that was read: ``readings`` as of ``api.analysis.frames``, of these minutes."""
    found = {}
    for name in ("speed_rpm", "power_w", "flow_m3h", "head_m"):
        values = readings[name].to_numpy(dtype=float)
        values = values[np.isfinite(values)]
        if len(values):
            found[name] = Reported(
                mean=float(values.mean()), sd=float(values.std(ddof=len(values) > 1)), count=len(values)
            )
    return found


def is_steady(readings: pd.DataFrame) -> bool:
    """Whether the pump kept its speed; true as well where nothing was read of it."""
    speed = readings["speed_rpm"].dropna().to_numpy(dtype=float)
    return not len(speed) or bool(speed.max() - speed.min() <= STEADY * max(float(speed.mean()), 1.0))


class Agreement(StrEnum):
    """How a drive's value stands to what was measured."""

    AGREES = "agrees"
    DIFFERS = "differs"
    """At one duty: an offset, a gain and another pump's curve all look so."""
    OFFSET = "offset"
    GAIN = "gain"
    OFFSET_OR_GAIN = "offset_or_gain"
    NOT_THIS_PUMPS = "not_this_pumps"
    """Neither an offset nor a gain explains the checks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """One measured value beside what the drive said of it, in the quantity's own unit."""

    measured: float
    measured_sd: float
    drive: Reported

    @property
    def difference(self) -> float:
        """Return the drive's value minus the measured one."""
        return self.drive.mean - self.measured

    @property
    def sd(self) -> float:
        """Return the standard uncertainty of the difference."""
        return math.hypot(self.measured_sd, self.drive.mean_sd)

    @property
    def limit(self) -> float:
        """Return how large a difference has to be to be told."""
        return COVERAGE * self.sd + NOT_WORTH_IT * abs(self.measured)

    @property
    def agrees(self) -> bool:
        """Whether the difference is within what the measuring leaves open and nobody would correct."""
        return abs(self.difference) <= self.limit


def agreement(checks: Sequence[Beside]) -> Agreement:
    """Return what one check or several say of a drive's value; all of one quantity of one pump."""
    if all(check.agrees for check in checks):
        return Agreement.AGREES
    values = [abs(check.measured) for check in checks]
    if len(checks) < 2 or max(values) - min(values) < _APART * max(values):
        return Agreement.DIFFERS
    weights = np.array([1 / max(check.limit, 1e-9) ** 2 for check in checks])
    measured = np.array([check.measured for check in checks])
    beside = np.array([check.difference for check in checks])
    offset = float(np.sum(weights * beside) / np.sum(weights))
    gain = float(np.sum(weights * beside * measured) / np.sum(weights * measured**2))
    limits = np.array([check.limit for check in checks])
    by_offset = bool(np.all(np.abs(beside - offset) <= limits))
    by_gain = bool(np.all(np.abs(beside - gain * measured) <= limits))
    if by_offset and by_gain:
        return Agreement.OFFSET_OR_GAIN
    if by_offset:
        return Agreement.OFFSET
    return Agreement.GAIN if by_gain else Agreement.NOT_THIS_PUMPS


def unit_mistake(check: Beside) -> str | None:
    """Return the wrong unit that would explain a difference, ``None`` where none does. A hint, no proof.

    >>> unit_mistake(Beside(measured=10.0, measured_sd=0.1, drive=Reported(mean=32.9, sd=0.0, count=9)))
    'feet read as metres'
    """
    if check.agrees or not check.measured:
        return None
    factor = check.drive.mean / check.measured
    within = _FACTOR_WITHIN + COVERAGE * check.sd / abs(check.measured)
    near = (words for known, words in _UNIT_MISTAKES.items() if abs(factor / known - 1) <= within)
    # What fits nearly anything hints at nothing.
    return next(near, None) if within <= _VAGUE else None
