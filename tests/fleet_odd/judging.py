"""A recording through the product's own way: what was said of it and when, and what the judging broke on."""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace
from pathlib import Path
from traceback import extract_tb
from typing import Final

import numpy as np
import pandas as pd

from api.analysis.reconcile import is_same
from api.analytics.curve import Curve, learn_curve
from api.analytics.drift import every_alarm, slow_findings
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding, Kind
from api.analytics.hours import hour_rows
from api.analytics.not_assessable import judged_share
from api.analytics.observations import observations
from api.analytics.residuals import residuals
from api.analytics.states import fast_episodes, join, provenance_check
from api.analytics.states.starts_habit import starts_habit
from tests.fleet_odd.families import Recording
from tests.fleet_odd.plant import DAY_MS, START_UTC_MS

BASELINE_DAYS: Final = 28
RECENT_DAYS: Final = 28
LONGEST_STEP_S: Final = 300
"""The fast rules are for readings at most so far apart."""

LOOK_EVERY_DAYS: Final = 10
LOOKS_AFTER_DAYS: Final = (0, 1, 2, 4, 8, 16, 32)
LOOKS_AT_PROVENANCE: Final = 4
"""Enough to see what comes and goes, few enough for a minute or two in all."""

_LEAD_IN_DAYS: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A finding, as it last stood, when it was first told [ms UTC], and if the last look still tells it.

    ``raised_utc_ms`` is the end of the day looked at, for a fast finding its first reading.
    """

    finding: Finding
    raised_utc_ms: int
    is_kept: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What the product made of a recording.

    ``share_said`` [-] is what it says it could judge of the last four weeks, ``share_judged`` [-] how many
    of those weeks' days with running hours it truly judged; ``doubts`` counts the looks, of ``looks``, that
    found the declared provenance contradicted. ``broke_on`` names the error that ended the analysis,
    ``warned`` the warnings that a user would have seen.
    """

    recording: Recording
    told: tuple[Told, ...] = ()
    has_curve: bool = False
    share_said: float = 0.0
    share_judged: float = 0.0
    doubts: int = 0
    looks: int = 0
    broke_on: str = ""
    warned: tuple[str, ...] = ()

    @property
    def reasons(self) -> str:
        """Return why it says, if it does, that it cannot judge."""
        codes = {
            one.finding.causes[0].names[0] for one in self.told if one.finding.kind is Kind.NOT_ASSESSABLE
        }
        return ", ".join(sorted(codes))

    @property
    def years(self) -> float:
        """Return the time watched after the baseline [years]; none where the analysis broke."""
        if self.broke_on:
            return 0.0
        days = len(self.recording.frame) * self.recording.odd.step_s / 86_400
        return max(days - BASELINE_DAYS, 0.0) / 365.25


def judge(recording: Recording) -> Outcome:
    """Judge a recording day by day; an error of the product is part of the outcome."""
    with warnings.catch_warnings(record=True) as seen:
        warnings.simplefilter("always")
        try:
            outcome = _judged(recording)
        except Exception as error:  # any error at all is what this is looking for
            outcome = Outcome(recording=recording, broke_on=_named(error))
    return replace(
        outcome,
        warned=tuple(sorted({f"{one.message} {Path(one.filename).name}:{one.lineno}" for one in seen})),
    )


def _named(error: Exception) -> str:
    last = [frame for frame in extract_tb(error.__traceback__) if "/api/" in frame.filename] or [
        extract_tb(error.__traceback__)[-1]
    ]
    return f"{type(error).__name__} {Path(last[-1].filename).name}:{last[-1].lineno}"


def _judged(recording: Recording) -> Outcome:
    facts = recording.facts
    hours = hour_rows(recording.frame, facts)
    curve = learn_curve(hours, facts)
    slow = slow_told(hours, curve, facts)
    fast = [Told(finding=one, raised_utc_ms=one.first_utc_ms) for one in fast_of(recording, hours, curve)]
    looks = provenance_looks(recording)
    return Outcome(
        recording=recording,
        told=tuple(sorted([*slow, *fast], key=lambda one: one.raised_utc_ms)),
        has_curve=curve is not None,
        share_said=judged_share(hours, curve, facts),
        share_judged=share_judged(hours, curve, facts),
        doubts=sum(looks),
        looks=len(looks),
    )


def fast_of(recording: Recording, hours: pd.DataFrame, curve: Curve | None) -> list[Finding]:
    """Return the fast findings after the baseline, joined, with the habit that the product learns."""
    if recording.odd.step_s > LONGEST_STEP_S:
        return []
    watched_from = START_UTC_MS + BASELINE_DAYS * DAY_MS
    frame = recording.frame[recording.frame.index >= watched_from - _LEAD_IN_DAYS * DAY_MS]
    habit = _starts_habit_per_hour(hours, curve)
    found = join(fast_episodes(frame, curve, recording.facts, starts_habit_per_hour=habit))
    return [one for one in found if one.last_utc_ms >= watched_from]


def _starts_habit_per_hour(hours: pd.DataFrame, curve: Curve | None) -> float | None:
    return starts_habit(hours, curve)


def slow_told(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Told]:
    """Return the slow findings as they were first told, at the ends of the days that were looked at.

    Those are every tenth day after the baseline, the last, and those on which a change was raised, with some
    days after it. The curve is the full one: during the baseline nothing is looked at.
    """
    last = int(hours.index[-1]) // DAY_MS
    first = START_UTC_MS // DAY_MS + BASELINE_DAYS
    raised = {alarm.raised_day for alarm in every_alarm(hours, curve, facts)}
    days = {
        *range(first, last, LOOK_EVERY_DAYS),
        *(day + later for day in raised for later in LOOKS_AFTER_DAYS),
    }
    told: list[Told] = []
    for day in sorted({*(day for day in days if first <= day < last), last}):
        end = (day + 1) * DAY_MS
        told = [replace(one, is_kept=False) for one in told]
        for finding in slow_findings(hours[hours.index < end], curve, facts):
            _tell(told, finding, end)
    return told


def _tell(told: list[Told], finding: Finding, now_utc_ms: int) -> None:
    for place, known in enumerate(told):
        if is_same(known.finding, finding):
            told[place] = replace(known, finding=finding, is_kept=True)
            return
    told.append(Told(finding=finding, raised_utc_ms=now_utc_ms))


def provenance_looks(recording: Recording, count: int = LOOKS_AT_PROVENANCE) -> list[bool]:
    """Return of some weeks, evenly apart, whether their readings contradict what was declared."""
    frame = recording.frame
    if recording.odd.step_s > LONGEST_STEP_S:
        return []
    starts = np.linspace(START_UTC_MS + DAY_MS, int(frame.index[-1]) - 7 * DAY_MS, count)
    weeks = (frame[(frame.index >= start) & (frame.index < start + 7 * DAY_MS)] for start in starts)
    return [bool(provenance_check(week, recording.facts)) for week in weeks]


def share_judged(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> float:
    """Return the share [-] of the last four weeks' days with running hours that has any judged hour."""
    last = int(hours.index[-1]) // DAY_MS
    ran = hours[hours["seconds_running"] > 0].index.to_numpy() // DAY_MS
    recent = np.unique(ran[ran > last - RECENT_DAYS])
    if curve is None or not facts.wear_can_be_seen or not len(recent) or not len(observations(hours)):
        return 0.0
    judged = np.unique(residuals(hours, curve, facts).day)
    return float(np.isin(recent, judged).mean())
