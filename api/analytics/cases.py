"""Alarms of head and of power side by side: which belong to one fault, and what is known of each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.accusation import Case
from api.analytics.curve import Curve
from api.analytics.facts import PumpFacts
from api.analytics.residual_days import foretold
from api.analytics.residuals import Residuals
from api.analytics.strongest import LEFT_OUT_DAYS
from api.analytics.verdicts import Alarm
from api.analytics.watch import BASELINE_ROWS, LEAST_BASELINE_DAYS, Watch

LATER_DAYS: Final = 7
"""A shift of power this long after one of head is another fault."""

CAUSE_DAYS: Final = 120
"""The cause of a loss is told from at most this many days before power moved as well."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """All that alarms are told from: both watches, and what gives a span of days' judged hours.

    ``share_at`` gives the share [-] that could be judged of the weeks up to an alarm's end.
    """

    curve: Curve
    facts: PumpFacts
    head: Watch
    power: Watch
    hours: Callable[[int, int], Residuals]
    share_at: Callable[[Alarm], float]


def head_case(loss: Alarm, shifts: Sequence[Alarm], known: Known) -> Case:
    """Return what is known of an alarm of head.

    A shift of power that came later has a cause of its own, which must not colour that of the head.
    """
    verdict = loss.verdict
    later = min((s.verdict.change_day for s in shifts if comes_later(loss, s)), default=None)
    level = known.hours(verdict.level_from_day, verdict.last_day)
    since = verdict.change_day + 1
    cause = level if later is None else known.hours(max(since, later - CAUSE_DAYS), later - 1)
    return _case(loss, level, cause, known.head, -1, known)


def power_case(shift: Alarm, losses: Sequence[Alarm], known: Known) -> Case:
    """Return what is known of an alarm of power.

    Where head had been lost before, power had its share of it, so that only the days since then compare.
    """
    since = max((loss.verdict.change_day for loss in losses if comes_later(loss, shift)), default=-1)
    level = known.hours(shift.verdict.level_from_day, shift.verdict.last_day)
    return _case(shift, level, level, known.power, since, known)


def comes_later(loss: Alarm, shift: Alarm) -> bool:
    """Whether power moved long after head was lost, while it still was."""
    after = shift.verdict.change_day - loss.verdict.change_day
    return after >= LATER_DAYS and shift.verdict.change_day <= loss.verdict.last_day


def explains(loss: Alarm, shift: Alarm) -> bool:
    """Whether power moved with the head, so that one cause may stand for both."""
    return overlap(loss, shift) and not comes_later(loss, shift)


def overlap(one: Alarm, other: Alarm) -> bool:
    """Whether two alarms stood at the same time."""
    return (
        one.verdict.change_day <= other.verdict.last_day and other.verdict.change_day <= one.verdict.last_day
    )


def _case(alarm: Alarm, level: Residuals, cause: Residuals, own: Watch, since_day: int, known: Known) -> Case:
    head, power = known.head.held.rows[0], known.power.held.rows[0]

    def before(day: NDArray[np.int64]) -> NDArray[np.intp]:
        healthy = np.flatnonzero(own.healthy(day) & (day < alarm.verdict.change_day))[-BASELINE_ROWS:]
        sound = healthy[day[healthy] < alarm.verdict.change_day - LEFT_OUT_DAYS]
        since = sound[day[sound] > since_day]
        choices = (since, sound, healthy)
        return next((days for days in choices if len(days) >= LEAST_BASELINE_DAYS), healthy)

    return Case(
        alarm=alarm,
        curve=known.curve,
        facts=known.facts,
        share=known.share_at(alarm),
        hours=level,
        cause_hours=cause,
        known=foretold(head.where(before(head.day)), power.where(before(power.day))),
        head=head,
        power=power,
        of_power=own is known.power,
    )
