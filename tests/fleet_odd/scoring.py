"""What an outcome is worth: false on a healthy pump, found and rightly named on a faulty one."""

from __future__ import annotations

from typing import Final

from api.analytics.finding import INFORMATION_KINDS, Finding, Kind, Priority
from tests.fleet_odd.families import Fault
from tests.fleet_odd.happenings import SPELL_DAYS
from tests.fleet_odd.judging import Outcome, Told
from tests.fleet_odd.plant import DAY_MS

FAST_KINDS: Final = frozenset(
    {
        Kind.AIR_BINDING,
        Kind.DRY_RUNNING,
        Kind.CLOSED_DISCHARGE,
        Kind.HUNTING,
        Kind.REPEATED_STARTS,
        Kind.FROZEN_READING,
    }
)
_ALWAYS_ALLOWED: Final = frozenset({Kind.NOT_ASSESSABLE})
"""That something cannot be judged is never false here: how often it is said is another column."""


def false_ones(outcome: Outcome) -> list[Told]:
    """Return what was wrongly said of a healthy pump, information about its system among it."""
    allowed = outcome.recording.odd.expected | _ALWAYS_ALLOWED
    return [one for one in outcome.told if one.finding.kind not in allowed]


def is_alarm(finding: Finding) -> bool:
    """Return whether somebody would have been called for it."""
    return finding.kind not in INFORMATION_KINDS and finding.priority is not Priority.INFORMATION


def is_right(finding: Finding, fault: Fault) -> bool:
    """Return whether a finding is of a right kind, or names a right cause first."""
    first = set(finding.causes[0].names) if finding.causes else set()
    return finding.kind in fault.kinds or bool(first & fault.causes)


def right_ones(outcome: Outcome) -> list[Told]:
    """Return what was rightly said of a faulty pump once its fault had begun.

    That it cannot be judged may have been said before, and stand.
    """
    fault, onset = outcome.recording.fault, outcome.recording.onset_utc_ms
    assert fault is not None
    assert onset is not None
    return [
        one
        for one in outcome.told
        if is_right(one.finding, fault)
        and one.finding.last_utc_ms > onset
        and (one.raised_utc_ms > onset or one.finding.kind is Kind.NOT_ASSESSABLE)
        and _in_a_spell(one.finding, fault, onset)
    ]


def _in_a_spell(finding: Finding, fault: Fault, onset_utc_ms: int) -> bool:
    if fault.spell_minutes is None:
        return True
    begins = [onset_utc_ms + int(day * DAY_MS) for day in SPELL_DAYS]
    long = int(fault.spell_minutes * 60_000)
    return any(finding.first_utc_ms <= begin + long and finding.last_utc_ms >= begin for begin in begins)


def wrong_ones(outcome: Outcome) -> list[Told]:
    """Return the alarms of a faulty pump that name another fault, or come before it."""
    right = right_ones(outcome)
    return [one for one in outcome.told if is_alarm(one.finding) and one not in right]


def is_found(outcome: Outcome) -> bool:
    """Return whether the fault was rightly told; a contradiction of what is declared, at every look."""
    fault = outcome.recording.fault
    assert fault is not None
    if "provenance_contradicted" in fault.causes:
        return 0 < outcome.looks == outcome.doubts
    return bool(right_ones(outcome))


def delay_days(outcome: Outcome) -> float | None:
    """Return the time from the onset to when the fault was first rightly told [d]."""
    onset = outcome.recording.onset_utc_ms
    right = right_ones(outcome)
    return max(right[0].raised_utc_ms - onset, 0) / DAY_MS if right and onset is not None else None


def is_taken_back(outcome: Outcome) -> bool:
    """Return whether what was rightly said is no longer told at the end, as if it had never been."""
    right = right_ones(outcome)
    return bool(right) and not any(one.is_kept for one in right)


def lost_when_found(outcome: Outcome) -> float | None:
    """Return how much a slow loss had truly grown to when it was first rightly told [-]."""
    fault, delay = outcome.recording.fault, delay_days(outcome)
    if fault is None or delay is None or not fault.ramp_days:
        return None
    return outcome.recording.size * min(delay / fault.ramp_days, 1.0)


def covers(outcome: Outcome) -> bool | None:
    """Return whether the interval of the effect, as last told, holds the truth; ``None`` without numbers."""
    fault = outcome.recording.fault
    if fault is None or fault.effect is None:
        return None
    numbers = [one.finding for one in right_ones(outcome) if one.finding.effect_low is not None]
    if not numbers:
        return None
    low, high = numbers[-1].effect_low, numbers[-1].effect_high
    assert low is not None
    assert high is not None
    return low <= fault.effect(outcome.recording.size) <= high
