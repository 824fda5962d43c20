"""Day after day: whether the residual stands off the growing baseline, by enough and surely enough.

What is held between two days is bounded, however old the pump: the rows of the last days, the sums of all
before them, the verdict that stands. So a day costs the same in a pump's tenth year as in its first.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.change import DayNoise, Days, Folded, Whitened, day_noise
from api.analytics.strongest import still, strongest, support
from api.analytics.verdicts import JOINED_DAYS, Alarm, Limits, Verdict, joined, stands

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

LEAST_BASELINE_DAYS: Final = 6
LEAST_DAYS_AFTER: Final = 2
"""One day alone may be an odd day."""

FIRST_JUDGED_PLACE: Final = LEAST_BASELINE_DAYS + LEAST_DAYS_AFTER - 1

LONGEST_LOOK_BACK_DAYS: Final = 400
"""Change days further back than this are candidates only if an alarm already stands from them; what has stood
for longer is not dated or sized anew, only asked whether it is still there."""

BASELINE_ROWS: Final = 200
"""Days before a change that tell its noise and its cause; those before them count by their sums alone."""

LATE_ROWS: Final = 130
"""Days at the end of what has stood for long: more than a verdict's level is the mean of."""

_NEVER: Final = 2**31
_LONG_AGO: Final = -(10**9)
_END: Final = 2**31


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """What a watch holds between two days.

    ``rows`` are the days kept, once for each template; ``folded`` the sums of ``forgotten`` days before
    them (empty: none). ``gone`` are spans of days on which a change stood that has since gone: no part of
    the baseline. ``renew_at`` is the number of days at which the noise is judged anew, ``live`` the alarms
    that a verdict may still change.
    """

    rows: tuple[Days, ...]
    folded: tuple[Folded, ...] = ()
    forgotten: int = 0
    gone: tuple[tuple[int, int], ...] = ()
    noise: DayNoise | None = None
    renew_at: int = 0
    last_day: int = _LONG_AGO
    standing: Verdict | None = None
    raised_day: int = _NEVER
    live: tuple[Alarm, ...] = ()

    def with_rows(self, later: Sequence[Days]) -> Watched:
        """Return the same with the rows of later days, one for each template."""
        return replace(self, rows=_alike([old.then(new) for old, new in zip(self.rows, later, strict=True)]))


def _alike(templates: Sequence[Days]) -> tuple[Days, ...]:
    # What the templates share is held once.
    first, *others = templates
    return first, *(replace(o, day=first.day, hours=first.hours, inside=first.inside) for o in others)


def watch(templates: Sequence[Days], limits: Limits, power: Days | None = None) -> list[Verdict]:
    """Return the verdict at the end of each day, from the days up to it alone.

    ``templates`` hold the same days, each with another template of the change; ``power`` may support it. Days
    on which a change stood that has since gone are taken out of the baseline. The noise is judged anew
    whenever the number of days has doubled, so that a later day costs no more than an earlier one.
    """
    beside = None if power is None else Watch(Watched(rows=(power,)), NO_ALARM)
    watched = Watch(Watched(rows=tuple(templates)), limits, beside)
    found = []
    for day in templates[0].day.tolist():
        if beside is not None:
            beside.judge_to(day)
        found += watched.judge_to(day)
    return found


NO_ALARM: Final = Limits(z=np.inf, effect=np.inf)


class Watch:
    """Judges one quantity's days in turn; ``beside`` is the watch of another that may support it."""

    def __init__(self, held: Watched, limits: Limits, beside: Watch | None = None) -> None:
        self.held = held
        self._limits = limits
        self._beside = beside
        self._whitened: list[Whitened] = []
        self._arrange()

    def judge_to(self, day: int) -> list[Verdict]:
        """Judge the days up to this one that were not yet; return their verdicts."""
        found = []
        while (place := self._next()) < len(self._day) and self._day[place] <= day:
            verdict = self._judge(place)
            if self.held.standing is not None and not stands(verdict, self._limits):
                self._let_go(place)
                continue
            self._note(verdict)
            found.append(verdict)
        return found

    def settled(self) -> tuple[Alarm, ...]:
        """Return the alarms that no later verdict can change."""
        return tuple(a for a in self.alarms() if self.held.last_day - a.verdict.last_day > JOINED_DAYS)

    def alarms(self) -> tuple[Alarm, ...]:
        """Return the alarms that are held, with whether each was there on the last day judged."""
        last = self.held.last_day
        return tuple(replace(alarm, active=alarm.verdict.last_day == last) for alarm in self.held.live)

    def forget(self, settled: Sequence[Alarm]) -> None:
        """Let alarms go that have been told for good."""
        raised = {alarm.raised_day for alarm in settled}
        kept = tuple(alarm for alarm in self.held.live if alarm.raised_day not in raised)
        self.held = replace(self.held, live=kept)

    def supports(self, change_day: int, last_day: int) -> tuple[float, float]:
        """Return effect [-] and z of a step on this day, as known on the last; nothing known gives 0."""
        return support(self._work, self._sums, change_day, last_day)

    def _first_needed_day(self) -> int:
        live = [self._place_of(alarm.verdict.change_day) for alarm in self.held.live]
        place = min([self._anchor(self._next()), *live]) - BASELINE_ROWS
        return int(self._day[place]) if place > 0 else _LONG_AGO

    def trimmed(self, other: Watch) -> Watched:
        """Return what is held without the rows that none may ask for again.

        ``other`` watches another quantity of the same days, and asks for rows of this one too.
        """
        trimmed, days = copy(self), self.held.rows[0].day
        trimmed._fold(int(np.searchsorted(self._day, self._first_needed_day())) if self._sums else 0)
        kept = self._may_need(days) | other._may_need(days)
        first = int(days[kept][0]) if kept.any() else _END
        return replace(
            trimmed.held,
            rows=_alike([part.where(kept) for part in self.held.rows]),
            gone=tuple(span for span in self.held.gone if span[1] >= first),
        )

    def _may_need(self, days: IntArray) -> BoolArray:
        needed = days >= self._first_needed_day()
        if self.held.standing is None or len(days) <= LATE_ROWS:
            return np.asarray(needed)
        # A change that has stood for long was dated and sized by its first days; its last say if it is there.
        dated_day = self.held.raised_day + LONGEST_LOOK_BACK_DAYS
        return np.asarray(needed & ((days <= dated_day) | (days >= days[-LATE_ROWS])))

    def healthy(self, days: IntArray) -> BoolArray:
        """Mask the days within no change that has gone."""
        inside = np.zeros(len(days), dtype=np.bool_)
        for first, last in self.held.gone:
            inside |= (days >= first) & (days <= last)
        return ~inside

    def _arrange(self) -> None:
        rows, folded = self.held.rows, self.held.folded
        kept = self.healthy(rows[0].day) & (rows[0].day > (folded[0].day if folded else _LONG_AGO))
        self._work = [part.where(kept) for part in rows]
        self._day = self._work[0].day
        self._whitened = []

    @property
    def _sums(self) -> list[Whitened]:
        # Made when first asked for: most of what is held is looked at once an hour or not at all.
        noise, folded = self.held.noise, self.held.folded or (None,) * len(self._work)
        if noise is not None and not self._whitened:
            self._whitened = [Whitened.of(d, noise, f) for d, f in zip(self._work, folded, strict=True)]
        return self._whitened

    def _next(self) -> int:
        # Few days may be left of a baseline; the next is judged once one and two days after it are there.
        place = int(np.searchsorted(self._day, self.held.last_day, side="right"))
        return max(place, FIRST_JUDGED_PLACE - self.held.forgotten)

    def _place_of(self, day: int) -> int:
        return int(np.searchsorted(self._day, day))

    def _anchor(self, place: int) -> int:
        standing = self.held.standing
        candidates = place - LONGEST_LOOK_BACK_DAYS
        return candidates if standing is None else min(candidates, self._place_of(standing.change_day))

    def _judge(self, place: int) -> Verdict:
        day, standing = int(self._day[place]), self.held.standing
        if standing is not None and day - self.held.raised_day > LONGEST_LOOK_BACK_DAYS:
            return still(standing, self._work[0], self._sums[0], place)
        if not self._sums or self.held.forgotten + place >= self.held.renew_at:
            self._judge_noise(place)
            place = self._place_of(day)
        until = int(np.searchsorted(self._day, self.held.raised_day, side="right")) - 1
        newest = min(place + 1 - LEAST_DAYS_AFTER, until)
        verdict = strongest(self._work, self._sums, place, self._earliest(place), newest, until)
        if self._beside is None or verdict.is_ramp:
            return verdict
        effect, z = self._beside.supports(verdict.change_day, day)
        return replace(verdict, power_effect=effect, power_z=z)

    def _earliest(self, place: int) -> int:
        standing, forgotten = self.held.standing, self.held.forgotten
        since = int(self._day[place]) - LONGEST_LOOK_BACK_DAYS
        since = since if standing is None else min(since, standing.change_day)
        least = max(LEAST_BASELINE_DAYS - forgotten, 1)
        return min(max(least, self._place_of(since)), place + 1 - LEAST_DAYS_AFTER)

    def _judge_noise(self, place: int) -> None:
        first = max(0, self._anchor(place) - BASELINE_ROWS)
        if self._sums and first:
            self._fold(first)
            self._arrange()
            place -= first
        # A fault that stands is no noise, however often it is judged anew.
        standing = self.held.standing
        until = place if standing is None else min(place, self._place_of(standing.change_day))
        noise = day_noise(self._work[0].where(slice(max(0, until - BASELINE_ROWS), until)))
        self.held = replace(self.held, noise=noise, renew_at=(self.held.forgotten + place) * 2)
        self._whitened = []

    def _fold(self, first: int) -> None:
        """Keep the rows before this place by their sums alone."""
        if first <= 0:
            return
        folded = [part.fold(days, first - 1) for part, days in zip(self._sums, self._work, strict=True)]
        self.held = replace(self.held, folded=tuple(folded), forgotten=self.held.forgotten + first)

    def _let_go(self, place: int) -> None:
        standing = self.held.standing
        assert standing is not None
        self._fold(max(0, self._anchor(place) - BASELINE_ROWS))
        gone = (*self.held.gone, (standing.change_day, standing.last_day))
        self.held = replace(self.held, gone=gone, standing=None, raised_day=_NEVER, noise=None)
        self._arrange()

    def _note(self, verdict: Verdict) -> None:
        is_alarm = stands(verdict, self._limits)
        self.held = replace(
            self.held,
            last_day=verdict.last_day,
            standing=verdict if is_alarm else None,
            raised_day=min(self.held.raised_day, verdict.last_day) if is_alarm else _NEVER,
            live=tuple(joined(self.held.live, verdict)) if is_alarm else self.held.live,
        )
