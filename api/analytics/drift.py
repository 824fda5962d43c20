"""Slow findings: head lost against the pump's own curve, power shifted, and what cannot be judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.accusation import Case, case_of, explains_power, head_finding, power_finding
from api.analytics.change import Days
from api.analytics.curve import Curve
from api.analytics.facts import PumpFacts
from api.analytics.finding import INFORMATION_KINDS, Finding
from api.analytics.not_assessable import judged_share, not_assessable_findings
from api.analytics.residual_days import head_days, head_shapes, power_days
from api.analytics.residuals import Residuals, residuals
from api.analytics.system import system_findings
from api.analytics.verdicts import Alarm, Limits, alarms
from api.analytics.watch import watch

HEAD_LIMITS: Final = Limits(z=5.0, effect=0.008)
"""A loss of 1 % that is five standard errors wide (own study: misfit and sensor drift stay below both)."""

POWER_LIMITS: Final = Limits(z=6.0, effect=0.05)
"""Fluid and drive temperature move power by a few percent, so a shift of power alone needs 5 %."""

LATER_DAYS: Final = 7
"""A shift of power this long after one of head is another fault."""


def slow_findings(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Finding]:
    """Return every slow finding of one pump, oldest first: a pure function of what is given.

    ``hours`` are rows of :func:`api.analytics.hours.hour_rows` in order, ``curve`` what
    :func:`api.analytics.curve.learn_curve` made of them. Without measured flow and head no wear is ever
    claimed; what cannot be judged is always said. ``first_utc_ms`` of a finding is the start of the day of
    change. Only rows since the last event with ``new_baseline`` count.
    """
    found = list(not_assessable_findings(hours, curve, facts))
    if curve is not None and facts.wear_can_be_seen:
        # An estimated flow follows the pump's wear, so that even the system's resistance would mislead.
        found += system_findings(hours, curve, facts) + _against_curve(hours, curve, facts)
    return sorted(found, key=lambda finding: (finding.first_utc_ms, finding.kind))


def head_alarms(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Alarm]:
    """Return when a change of head was first raised and how long it stood, day by day, from the past alone.

    This is the back-test: the same engine as :func:`slow_findings`, with the day each alarm was raised.
    An alarm that turned out to be the fluid is left out, as there.
    """
    if curve is None or not facts.wear_can_be_seen:
        return []
    judged = residuals(hours, curve, facts)
    if len(judged.day) == 0:
        return []
    cases = _head_cases(_head_alarms(judged, facts), _power_alarms(judged), judged, curve, facts, share=0.0)
    return [case.alarm for case in cases if head_finding(case).kind not in INFORMATION_KINDS]


def power_alarms(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Alarm]:
    """Return the same for power, also where the change of head explains it."""
    if curve is None or not facts.wear_can_be_seen:
        return []
    judged = residuals(hours, curve, facts)
    return _power_alarms(judged) if len(judged.day) else []


def every_alarm(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Alarm]:
    """Return the alarms of head and of power whatever they turned out to be, the fluid among them."""
    if curve is None or not facts.wear_can_be_seen:
        return []
    judged = residuals(hours, curve, facts)
    return [*_head_alarms(judged, facts), *_power_alarms(judged)] if len(judged.day) else []


def head_limits(facts: PumpFacts) -> Limits:
    """Return when a change of head is raised: as the site file says, else as ``HEAD_LIMITS``."""
    return Limits(
        z=facts.head_loss_evidence_sd or HEAD_LIMITS.z, effect=facts.head_loss_notice or HEAD_LIMITS.effect
    )


def head_templates(judged: Residuals) -> list[Days]:
    """Return the judged hours' residuals of head by day, once for each shape that a loss may have."""
    return [head_days(judged, shape) for shape in head_shapes(judged)]


def _head_alarms(judged: Residuals, facts: PumpFacts) -> list[Alarm]:
    limits = head_limits(facts)
    return alarms(watch(head_templates(judged), limits, power_days(judged)), limits)


def _power_alarms(judged: Residuals) -> list[Alarm]:
    return alarms(watch([power_days(judged)], POWER_LIMITS), POWER_LIMITS)


def _against_curve(hours: pd.DataFrame, curve: Curve, facts: PumpFacts) -> list[Finding]:
    judged = residuals(hours, curve, facts)
    if len(judged.day) == 0:
        return []
    share = judged_share(hours, curve, facts)
    losses = _head_alarms(judged, facts)
    shifts = _power_alarms(judged)
    of_head = [head_finding(case) for case in _head_cases(losses, shifts, judged, curve, facts, share)]
    explained = [loss for loss, finding in zip(losses, of_head, strict=True) if explains_power(finding)]
    alone = [shift for shift in shifts if not any(_explains(loss, shift) for loss in explained)]
    return of_head + [
        power_finding(
            case_of(shift, judged, _before_power(shift, shifts, losses, judged), curve, facts, share)
        )
        for shift in alone
    ]


def _head_cases(
    losses: Sequence[Alarm],
    shifts: Sequence[Alarm],
    judged: Residuals,
    curve: Curve,
    facts: PumpFacts,
    share: float,
) -> list[Case]:
    healthy = ~_within(judged, losses)
    cases = [case_of(loss, judged, healthy, curve, facts, share) for loss in losses]
    return [_until_power_moved(case, shifts) for case in cases]


def _until_power_moved(case: Case, shifts: Sequence[Alarm]) -> Case:
    # A shift of power that came later has a cause of its own, which must not colour that of the head.
    head = case.alarm.verdict
    later = [shift.verdict.change_day for shift in shifts if _comes_later(case.alarm, shift)]
    days = case.judged.day
    first = (days > head.change_day) & (days < min(later)) if later else case.hours
    return replace(case, cause_hours=first)


def _comes_later(loss: Alarm, shift: Alarm) -> bool:
    after = shift.verdict.change_day - loss.verdict.change_day
    return after >= LATER_DAYS and shift.verdict.change_day <= loss.verdict.last_day


def _explains(loss: Alarm, shift: Alarm) -> bool:
    return _overlap(loss, shift) and not _comes_later(loss, shift)


def _before_power(
    shift: Alarm, shifts: Sequence[Alarm], losses: Sequence[Alarm], judged: Residuals
) -> NDArray[np.bool_]:
    # Where head had been lost before, power had its share of it, so that only the days since then compare.
    since = max((loss.verdict.change_day for loss in losses if _comes_later(loss, shift)), default=-1)
    return ~_within(judged, shifts) & (judged.day > since)


def _within(judged: Residuals, standing: Sequence[Alarm]) -> NDArray[np.bool_]:
    inside = np.zeros(len(judged.day), dtype=np.bool_)
    for alarm in standing:
        inside |= (judged.day >= alarm.verdict.change_day) & (judged.day <= alarm.verdict.last_day)
    return inside


def _overlap(one: Alarm, other: Alarm) -> bool:
    return (
        one.verdict.change_day <= other.verdict.last_day and other.verdict.change_day <= one.verdict.last_day
    )
