"""Whether a piece of work did away with a finding: yes, partly, no, or when it will be known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import pandas as pd

from api.analytics.finding import Finding, Kind
from api.analytics.repair.levels import error_after
from api.analytics.repair.quantities import Measured, Quantity
from api.analytics.repair.stretch import LONGEST_DAYS, Stretch, running_h
from api.analytics.spans import DAY_MS, HOUR_MS
from api.analytics.states.joining import COUNTED
from api.analytics.verdicts import NORMAL_95


class Verdict(StrEnum):
    """What a piece of work did to a finding."""

    WORKED = "worked"
    PARTLY = "partly"
    DID_NOT_WORK = "did_not_work"
    TOO_EARLY = "too_early"
    NOT_KNOWN = "not_known"
    """The readings can't tell, however long one waits."""


BY_LEVEL: Final = {
    Kind.HEAD_LOSS: Quantity.HEAD,
    Kind.HEAD_SENSOR_SHIFT: Quantity.HEAD,
    Kind.FLOW_METER_SHIFT: Quantity.HEAD,
    Kind.POWER_SHIFT: Quantity.POWER,
    Kind.MECHANICAL_DRAG: Quantity.POWER,
    Kind.POWER_READING_SHIFT: Quantity.POWER,
    Kind.RESISTANCE_RISE: Quantity.RESISTANCE,
    Kind.SYSTEM_CHANGE: Quantity.RESISTANCE,
}
"""Findings that stand as a level, and what they are a level of."""

BY_QUIET: Final = frozenset(
    {
        Kind.AIR_BINDING,
        Kind.DRY_RUNNING,
        Kind.CLOSED_DISCHARGE,
        Kind.REPEATED_STARTS,
        Kind.HUNTING,
        Kind.FROZEN_READING,
        Kind.NO_REPLY,
        Kind.DRIVE_FAULT,
    }
)
"""Findings that come in episodes: gone when they stay away."""

HALF: Final = 0.5
"""Work that brought back more than half of what was off is told from work that did nothing (our choice)."""

PART: Final = 0.25
"""Less than a quarter back is not called part of a repair: season and drift move as much (our own choice)."""

CHANCE: Final = 0.05
LEAST_QUIET_H: Final = 2.0
"""Had nothing changed, episodes as frequent as before would stay away for so long by chance in one of twenty
cases: ``exp(-rate * time)``, the Poisson process; never less than two running hours (our own choice)."""

SETTLING_MS: Final = DAY_MS
"""Gas that a repair let in leaves for some hours, and a valve is set twice: what is seen again within a day
of the work does not yet mean that it failed (our own choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """A finding that stood when the work was done, and what became of it.

    ``known_at_utc_ms`` is when it will be known, for ``TOO_EARLY``. ``quiet_h`` [h] are the running hours
    since it was last seen, ``seen_again_utc_ms`` when it last was after the work; both of episodes alone.
    """

    finding: Finding
    verdict: Verdict
    quantity: Quantity | None = None
    known_at_utc_ms: int | None = None
    quiet_h: float | None = None
    seen_again_utc_ms: int | None = None


def by_level(finding: Finding, found: Measured | None, stretch: Stretch) -> Answered:
    """Return what became of a finding that stands as a level."""
    quantity = BY_LEVEL[finding.kind]
    if found is None:
        verdict = Verdict.NOT_KNOWN if stretch.is_over else Verdict.TOO_EARLY
        return Answered(finding=finding, verdict=verdict, quantity=quantity)
    off = _off(finding, found)
    half_width = NORMAL_95 * found.levels.change_error / abs(off)
    verdict = _of_share(-found.levels.change / off, half_width, stretch)
    known = _known_at(found, off, stretch) if verdict is Verdict.TOO_EARLY else None
    return Answered(finding=finding, verdict=verdict, quantity=quantity, known_at_utc_ms=known)


def _off(finding: Finding, found: Measured) -> float:
    """Return how far off the level was [-]: as seen before the work, else as the finding says."""
    told = finding.effect or 0.0
    if found.quantity is Quantity.RESISTANCE:
        return math.log1p(max(told, -0.99)) or 0.5
    seen = found.levels.before
    return seen if seen * told > 0 and abs(seen) >= HALF * abs(told) else told or seen


def _of_share(back: float, half_width: float, stretch: Stretch) -> Verdict:
    """Return the verdict of the share [-] of what was off that came back, with half its 95 % interval."""
    low, high = back - half_width, back + half_width
    if low > HALF:
        return Verdict.WORKED
    partly = low > 0 and back > PART
    if high < HALF:
        return Verdict.PARTLY if partly else Verdict.DID_NOT_WORK
    if not stretch.is_over:
        return Verdict.TOO_EARLY
    return Verdict.PARTLY if partly else Verdict.NOT_KNOWN


def _known_at(found: Measured, off: float, stretch: Stretch) -> int:
    """Return when the days' noise lets all or nothing be told, from what is known now."""
    first = found.levels.since_days + 1
    # The error that was found holds more than the noise: the duties that changed with the work.
    more = found.levels.change_error / max(error_after(found.levels, found.levels.since_days), 1e-9)
    days = (
        n
        for n in range(first, LONGEST_DAYS)
        if NORMAL_95 * more * error_after(found.levels, n) < HALF * abs(off)
    )
    return stretch.done_utc_ms + next(days, LONGEST_DAYS) * DAY_MS


def by_quiet(finding: Finding, later: list[Finding], hours: pd.DataFrame, stretch: Stretch) -> Answered:
    """Return what became of a finding that comes in episodes; ``later`` are those of its kind since."""
    seen = [min(each.last_utc_ms, stretch.end_utc_ms) for each in (finding, *later)]
    again = max((time for time in seen if time > stretch.done_utc_ms), default=None)
    quiet_h = running_h(hours, again or stretch.done_utc_ms, stretch.end_utc_ms)
    needed_h = max(-math.log(CHANCE) / _episodes_an_hour(finding, hours, stretch), LEAST_QUIET_H)
    verdict = _of_quiet(quiet_h >= needed_h, again, stretch)
    return Answered(
        finding=finding,
        verdict=verdict,
        quiet_h=quiet_h,
        seen_again_utc_ms=again,
        known_at_utc_ms=_quiet_at(needed_h - quiet_h, hours, stretch)
        if verdict is Verdict.TOO_EARLY
        else None,
    )


def _of_quiet(is_quiet: bool, again_utc_ms: int | None, stretch: Stretch) -> Verdict:
    if again_utc_ms is not None and again_utc_ms > stretch.done_utc_ms + SETTLING_MS:
        return Verdict.DID_NOT_WORK
    if is_quiet:
        return Verdict.WORKED
    return Verdict.NOT_KNOWN if stretch.is_over else Verdict.TOO_EARLY


def _episodes_an_hour(finding: Finding, hours: pd.DataFrame, stretch: Stretch) -> float:
    """Return how often it was seen while the pump ran, from when it began to the work [1/h]."""
    counted = next((each.value for each in finding.evidence if each.name == COUNTED), 1.0)
    until = max(stretch.begun_utc_ms, min(finding.last_utc_ms, stretch.end_utc_ms))
    return max(counted, 1.0) / max(running_h(hours, finding.first_utc_ms, until), 1.0)


def _quiet_at(missing_h: float, hours: pd.DataFrame, stretch: Stretch) -> int:
    since_h = max((stretch.end_utc_ms - stretch.done_utc_ms) / HOUR_MS, 1.0)
    share = min(1.0, max(running_h(hours, stretch.done_utc_ms, stretch.end_utc_ms) / since_h, 0.1))
    return stretch.end_utc_ms + int(max(missing_h, 0.0) / share * HOUR_MS)
