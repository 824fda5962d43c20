"""A pump's slow findings, taken on day by day: what is held of earlier days is all that later ones need.

Take all hours at once, or go on from what was held: the same is found. What is held does not grow with the
pump's age, so neither does what an hour costs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.accusation import explains_power, head_finding, power_finding
from api.analytics.cases import Known, explains, head_case, overlap, power_case
from api.analytics.cells import Births, no_births
from api.analytics.change import no_days
from api.analytics.curve import Curve, baseline_start_utc_ms
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding
from api.analytics.limits import POWER_LIMITS, head_limits
from api.analytics.no_curve import why_no_curve
from api.analytics.not_assessable import Judged, Sight, first_of_late_utc_ms, judged_of, not_assessable
from api.analytics.residual_days import head_templates, power_days
from api.analytics.residuals import HEAD_BELIEF_SD, POWER_BELIEF_SD, Residuals, calm_hours, residuals
from api.analytics.spans import DAY_MS, HOUR_MS
from api.analytics.system import Openings, no_openings, system_moved
from api.analytics.verdicts import Alarm
from api.analytics.watch import Watch, Watched

SETTLED_DAYS: Final = 60
"""A finding told for good is told again for so long; after that it stays as it was told."""

HoursBetween = Callable[[int, int], pd.DataFrame]
"""Gives a pump's hour rows from one time up to another [ms UTC], those just taken among them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """An alarm and the finding it is told as; ``finding`` is ``None`` where another's cause explains it."""

    alarm: Alarm
    finding: Finding | None
    explains_power: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What is held of a pump's days before ``until_day``.

    ``births`` tell since when hours without an episode have known each cell; the rest is the system's
    resistance by day, the watches of head and power, findings told for good of the last ``SETTLED_DAYS``, and
    alarms told for good that stood beside one that is not.
    """

    until_day: int
    sight: Sight
    births: Births
    openings: Openings
    head: Watched
    power: Watched
    settled: tuple[Finding, ...] = ()
    past_losses: tuple[Told, ...] = ()
    past_shifts: tuple[Told, ...] = ()


def nothing_held(curve: Curve | None) -> Held:
    """Return what is held before a pump's first day."""
    none = no_births(curve.cells.flow_step if curve else 1.0)
    head, power = no_days(HEAD_BELIEF_SD), no_days(POWER_BELIEF_SD)
    return Held(
        until_day=0,
        sight=Sight(),
        births=none,
        openings=no_openings(),
        head=Watched(rows=(head, head)),
        power=Watched(rows=(power,)),
    )


class SlowLook:
    """Takes a pump's hours in pieces of whole days and tells what was found so far."""

    def __init__(
        self, curve: Curve | None, facts: PumpFacts, hours_between: HoursBetween, held: Held | None = None
    ) -> None:
        self._curve = curve
        self._facts = facts
        self._hours_between = hours_between
        self._held = nothing_held(curve) if held is None else held
        self._settled = list(self._held.settled)
        self._settled_losses: list[Told] = []
        self._settled_shifts: list[Told] = []
        self._watch()

    def take(self, hours: pd.DataFrame) -> None:
        """Take hours of days that follow those taken before, in order; only the last may not be whole."""
        hours = hours[hours.index >= baseline_start_utc_ms(self._facts)]
        if hours.empty:
            return
        until_day = int(hours.index[-1]) // DAY_MS + 1
        self._held = replace(self._held, sight=self._held.sight.then(hours), until_day=until_day)
        # An estimated flow follows the pump's wear, so that even the system's resistance would mislead.
        if self._curve is not None and self._facts.wear_can_be_seen:
            self._take_against(hours, self._curve)

    def findings(self) -> list[Finding]:
        """Return what was found in the hours taken, and what was held and may still change, oldest first."""
        found = not_assessable(self._held.sight, self._facts, self._judged_to(self._last_hour_utc_ms))
        if self._curve is not None and self._facts.wear_can_be_seen:
            found += system_moved(self._held.openings, self._facts)
            losses = self._losses_now()
            told = [*losses, *self._shifts_now(losses)]
            found += self.settled() + [each.finding for each in told if each.finding is not None]
        return sorted(found, key=lambda finding: (finding.first_utc_ms, finding.kind))

    def settled(self) -> list[Finding]:
        """Return what was told for good in the hours taken or not long before: nothing later changes it."""
        told = [*self._settled_losses, *self._settled_shifts]
        return self._settled + [each.finding for each in told if each.finding is not None]

    def losses(self) -> list[Told]:
        """Return the alarms of head in the hours taken, and those held that may still change."""
        return [*self._settled_losses, *self._losses_now()]

    def shifts(self) -> list[Told]:
        """Return the same of power."""
        return [*self._settled_shifts, *self._shifts_now(self._losses_now())]

    def judged_share(self) -> float:
        """Return the share [-] of the last four weeks' running time that could be judged for wear."""
        return self._judged_to(self._last_hour_utc_ms).share

    def held(self) -> Held:
        """Return what later days need of those taken."""
        head, power = self._head.trimmed(self._power), self._power.trimmed(self._head)
        since = (self._held.until_day - SETTLED_DAYS) * DAY_MS
        settled = tuple(finding for finding in self.settled() if finding.last_utc_ms >= since)
        openings = self._held.openings.trimmed()
        return replace(self._held, head=head, power=power, settled=settled, openings=openings)

    def _watch(self) -> None:
        self._power = Watch(self._held.power, POWER_LIMITS)
        self._head = Watch(self._held.head, head_limits(self._facts, self._curve), self._power)

    def _take_against(self, hours: pd.DataFrame, curve: Curve) -> None:
        held, calm = self._held, calm_hours(hours, curve, self._facts)
        births = held.births.with_hours(calm.flow_m3h, calm.speed_rpm, calm.day)
        judged = residuals(hours, curve, self._facts, births)
        self._held = replace(
            held,
            births=births,
            openings=held.openings.then(calm),
            head=self._head.held.with_rows(head_templates(judged)),
            power=self._power.held.with_rows([power_days(judged)]),
        )
        self._watch()
        for day in np.unique(judged.day).tolist():
            self._power.judge_to(day)
            self._head.judge_to(day)
            self._settle()

    def _settle(self) -> None:
        """Tell for good what no later day can change."""
        of_head, of_power = self._head.settled(), self._power.settled()
        if not of_head and not of_power:
            return
        losses = self._losses_now()
        shifts = [told for told in self._shifts_now(losses) if told.alarm in of_power]
        losses = [told for told in losses if told.alarm in of_head]
        self._settled_losses += losses
        self._settled_shifts += shifts
        self._head.forget(of_head)
        self._power.forget(of_power)
        held = self._held
        self._held = replace(
            held,
            past_losses=_beside((*held.past_losses, *losses), self._power.alarms()),
            past_shifts=_beside((*held.past_shifts, *shifts), self._head.alarms()),
        )

    def _losses_now(self) -> list[Told]:
        shifts = [*(told.alarm for told in self._held.past_shifts), *self._power.alarms()]
        return [self._told_loss(loss, shifts) for loss in self._head.alarms()]

    def _told_loss(self, loss: Alarm, shifts: Sequence[Alarm]) -> Told:
        finding = head_finding(head_case(loss, shifts, self._known()))
        return Told(alarm=loss, finding=finding, explains_power=explains_power(finding))

    def _shifts_now(self, losses_now: Sequence[Told]) -> list[Told]:
        losses = [*self._held.past_losses, *losses_now]
        return [self._told_shift(shift, losses) for shift in self._power.alarms()]

    def _told_shift(self, shift: Alarm, losses: Sequence[Told]) -> Told:
        if any(told.explains_power and explains(told.alarm, shift) for told in losses):
            return Told(alarm=shift, finding=None)
        case = power_case(shift, [told.alarm for told in losses], self._known())
        return Told(alarm=shift, finding=power_finding(case))

    def _known(self) -> Known:
        assert self._curve is not None  # Without a curve there is no residual, so no alarm.
        return Known(
            curve=self._curve,
            facts=self._facts,
            head=self._head,
            power=self._power,
            hours=self._judged_between,
            share_at=self._share_at,
        )

    def _judged_between(self, first_day: int, last_day: int) -> Residuals:
        assert self._curve is not None
        hours = self._hours_between(first_day * DAY_MS, (last_day + 1) * DAY_MS)
        return residuals(hours, self._curve, self._facts, self._held.births)

    def _share_at(self, alarm: Alarm) -> float:
        end = (alarm.verdict.last_day + 1) * DAY_MS - HOUR_MS
        return self._judged_to(self._last_hour_utc_ms if alarm.active else end).share

    @property
    def _last_hour_utc_ms(self) -> int:
        return self._held.sight.last_hour_utc_ms

    def _judged_to(self, last_hour_utc_ms: int) -> Judged:
        if not self._facts.wear_can_be_seen:
            return Judged()
        begun = baseline_start_utc_ms(self._facts)
        if self._curve is None:
            return Judged(reason=why_no_curve(self._hours_between(begun, last_hour_utc_ms + 1), self._facts))
        first = max(first_of_late_utc_ms(last_hour_utc_ms), begun)
        hours = self._hours_between(first, last_hour_utc_ms + 1)
        return judged_of(hours, self._curve, self._facts, self._held.births)


def _beside(told: Sequence[Told], others: Sequence[Alarm]) -> tuple[Told, ...]:
    """Return those that stood at the time of another quantity's alarm that may still change."""
    return tuple(each for each in told if any(overlap(each.alarm, other) for other in others))
