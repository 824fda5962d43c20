"""Episodes of one kind that belong together are one finding, however the readings were cut."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Final

from api.analytics.finding import Evidence, Finding, Kind, Priority

_MINUTE_S: Final = 60
_HOUR_S: Final = 3600

QUIET_S: Final[dict[Kind, float]] = {
    Kind.DRY_RUNNING: 30 * _MINUTE_S,
    Kind.CLOSED_DISCHARGE: 5 * _MINUTE_S,
    Kind.AIR_BINDING: 24 * _HOUR_S,
    Kind.REPEATED_STARTS: 6 * _HOUR_S,
    Kind.HUNTING: 1 * _HOUR_S,
    Kind.FROZEN_READING: 5 * _MINUTE_S,
    Kind.DRIVE_FAULT: 30 * _MINUTE_S,
    Kind.NO_REPLY: 6 * _HOUR_S,
    Kind.NOT_ASSESSABLE: 24 * _HOUR_S,
}
"""How long a kind must be away [s] before it is over, and a new episode is a new finding.

Gas comes back with each heat-up or fill, so a quiet day is asked for; a drive that trips is reset and
trips again within the half hour; readings that move again are no longer frozen. (Choices of ours.)
"""

_QUIET_FOR_INFORMATION_S: Final = {Kind.CLOSED_DISCHARGE: 24 * _HOUR_S}
"""A pump that is too slow for its static head, night after night, is told of once."""

COUNTED: Final = "episodes"
_SUMMED: Final = frozenset({COUNTED, "starts_counted", "failed_scans"})
_HIGHEST: Final = frozenset({"starts_in_an_hour", "longest_h", "speed_swing_share", "scatter_ratio"})
_URGENCY: Final = (Priority.INFORMATION, Priority.PLANNED, Priority.SOON, Priority.URGENT)


def quiet_s(kind: Kind, priority: Priority) -> float:
    """Return how long findings of a kind and priority must be away before they are over [s]."""
    if priority is Priority.INFORMATION:
        return _QUIET_FOR_INFORMATION_S.get(kind, QUIET_S.get(kind, 0.0))
    return QUIET_S.get(kind, 0.0)


def join(findings: Iterable[Finding], end_utc_ms: int | None = None) -> list[Finding]:
    """Return the findings with those of one pump and kind joined that are closer than :data:`QUIET_S`.

    Pieces that overlap in time are the same episode and are counted once; so joining what was already
    joined, with episodes of a window that was looked at again, changes nothing. With ``end_utc_ms``
    [ms], the end of all readings, what has been away for longer than its quiet time is not active.
    Sorted by first time. ``drive_fault`` joins only episodes of the same code.
    """
    ordered = sorted(findings, key=lambda one: (_cause_of_joining(one), one.first_utc_ms, one.last_utc_ms))
    joined = [
        whole for _, group in groupby(ordered, key=_cause_of_joining) for whole in _join_in_order(list(group))
    ]
    if end_utc_ms is not None:
        joined = [_at_the_end(one, end_utc_ms) for one in joined]
    return sorted(joined, key=lambda one: (one.first_utc_ms, one.kind, one.pump))


def _cause_of_joining(finding: Finding) -> tuple[str, str, float]:
    code = finding.effect or 0.0 if finding.kind is Kind.DRIVE_FAULT else 0.0
    return finding.pump, finding.kind.value, code


def _join_in_order(ordered: Sequence[Finding]) -> list[Finding]:
    wholes: list[Finding] = []
    for part in ordered:
        if wholes and part.first_utc_ms - wholes[-1].last_utc_ms <= _apart_s(wholes[-1], part) * 1000:
            wholes[-1] = _merged(wholes[-1], part)
        else:
            wholes.append(part)
    return wholes


def _apart_s(earlier: Finding, later: Finding) -> float:
    """Return how far apart two findings may be to be one [s]: what is urgent joins only what is near it."""
    return min(quiet_s(one.kind, one.priority) for one in (earlier, later))


def _merged(earlier: Finding, later: Finding) -> Finding:
    newest = later if later.last_utc_ms >= earlier.last_utc_ms else earlier
    other = earlier if newest is later else later
    stronger = max(newest, other, key=lambda one: abs(one.effect or 0.0))
    weaker = other if stronger is newest else newest
    return replace(
        newest,
        first_utc_ms=min(earlier.first_utc_ms, later.first_utc_ms),
        priority=max(earlier.priority, later.priority, key=_URGENCY.index),
        effect=stronger.effect,
        effect_low=stronger.effect_low,
        effect_high=stronger.effect_high,
        causes=stronger.causes,
        # Numbers beside an effect are of the episode that it is of, or a page would tell of two.
        evidence=_merged_evidence(stronger, weaker, overlap=later.first_utc_ms <= earlier.last_utc_ms),
        checks=stronger.checks,
    )


def _merged_evidence(stronger: Finding, weaker: Finding, *, overlap: bool) -> tuple[Evidence, ...]:
    values = {one.name: one.value for one in weaker.evidence}
    for one in stronger.evidence:
        was = values.get(one.name)
        values[one.name] = one.value if was is None else _merged_value(one, was, overlap=overlap)
    return tuple(Evidence(name=name, value=value) for name, value in values.items())


def _merged_value(stronger: Evidence, was: float, *, overlap: bool) -> float:
    if stronger.name in _SUMMED and not overlap:
        return stronger.value + was
    if stronger.name in _SUMMED or stronger.name in _HIGHEST:
        return max(stronger.value, was)
    return stronger.value


def _at_the_end(finding: Finding, end_utc_ms: int) -> Finding:
    away_s = (end_utc_ms - finding.last_utc_ms) / 1000
    return replace(finding, active=False) if away_s > quiet_s(finding.kind, finding.priority) else finding
