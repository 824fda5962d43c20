"""What other thresholds would have said of one pump's own stored hours: false alarms, and delays for a loss.

No truth stands beside a stored history, so two things of the trade stand in for it. A pump does not mend
itself: an alarm that went away without anybody's recorded work was false, and one that still stands is left
undecided and ends the quiet part of the history. And a loss of a share ``s`` of head at every flow and speed,
as an evenly worn impeller gives, is exactly ``H (1 - s)`` in an hour's sums, so that it can be put into the
pump's own quiet hours, with its own noise, from any day on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.counts import Rate, rate
from api.analytics.curve import Curve, baseline_start_utc_ms
from api.analytics.drift import head_alarms
from api.analytics.facts import PumpFacts
from api.analytics.limits import head_limits
from api.analytics.residual_days import head_templates
from api.analytics.residuals import residuals
from api.analytics.spans import DAY_MS
from api.analytics.verdicts import Alarm, Limits, Verdict, stands
from api.analytics.watch import watch

NOTICES: Final = (0.005, 0.008, 0.012, 0.02, 0.03)
EVIDENCES: Final = (3.5, 5.0, 7.0)
"""Effect floors [-] and strengths of evidence [standard errors] set side by side (our own choice)."""

MOST_TRIALS: Final = 24
"""Start days of a loss in one pump's history; more would repeat the same weeks."""

SHORTEST_LOOK_DAYS: Final = 7
LONGEST_LOOK_DAYS: Final = 60
"""How long a loss is waited for; half of the quiet days, so that the other half can be start days."""

DAYS_A_YEAR: Final = 365.25
WORK_DAYS: Final = 3
"""An alarm that ended within so many days of a recorded event was ended by that work."""

_NEVER: Final = Limits(z=np.inf, effect=np.inf)


@dataclass(frozen=True, slots=True, kw_only=True)
class AtLimits:
    """What one pair of limits would have said of a pump.

    ``false_alarms`` went away by themselves; ``delays_days`` holds one delay [d] for each trial, to the end
    of the day on which the loss was raised, infinite where it was not raised in time. A trial in which the
    pump was in alarm already says nothing of a delay and is left out.
    """

    limits: Limits
    false_alarms: int
    delays_days: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BackTest:
    """One pump's back-test for a loss of ``loss`` [-] of head.

    ``quiet_days`` is how many days could be judged before the first undecided alarm, without those the curve
    was learned from: it can hardly be wrong of them. ``look_days`` is how long each trial waited (0: the
    history is too short for trials), ``most_evidence_sd`` the most standard errors that the pump's quiet days
    came to, ``present`` the limits that are set now.
    """

    pump: str
    loss: float
    quiet_days: int
    look_days: int
    most_evidence_sd: float
    present: Limits
    at: tuple[AtLimits, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a pair of limits does over one pump or several.

    Percentiles of the delay [d] are ``None`` where that share of the trials was not raised in time.
    """

    limits: Limits
    false_alarms: int
    pump_years: float
    false_alarms_a_year: Rate
    trials: int
    found: int
    median_days: float | None
    p90_days: float | None


def with_head_loss(hours: pd.DataFrame, from_utc_ms: int, loss: float) -> pd.DataFrame:
    """Return the hour rows with a share ``loss`` [-] of head gone from an hour [ms UTC] on.

    Exact in every sum that judges the curve; minima, maxima and the power stay as they were.
    """
    left = np.where(hours.index.to_numpy() >= from_utc_ms, 1 - loss, 1.0)
    once = {name: hours[name] * left for name in ("sum_h", "sum_hn", "sum_hq")}
    return hours.assign(**once, sum_hh=hours["sum_hh"] * left**2)


def choices(present: Limits) -> tuple[Limits, ...]:
    """Return the limits that are set side by side, the present ones among them, in order."""
    grid = {(z, effect) for z in EVIDENCES for effect in NOTICES} | {(present.z, present.effect)}
    return tuple(replace(present, z=z, effect=effect) for z, effect in sorted(grid))


def back_test(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts, loss: float) -> BackTest | None:
    """Return the back-test of one pump, ``None`` where wear cannot be seen or no curve is known.

    ``hours`` are rows of :func:`api.analytics.hours.hour_rows` in order; only those of the present baseline
    count. A pure function of what is given.
    """
    if curve is None or not facts.wear_can_be_seen:
        return None
    present = head_limits(facts, curve)
    quiet = _quiet(hours, curve, facts)
    verdicts = _verdicts(quiet, curve, facts)
    tried, look_days = _trials(quiet, curve, facts, loss)
    return BackTest(
        pump=facts.pump,
        loss=loss,
        quiet_days=len(verdicts),
        look_days=look_days,
        most_evidence_sd=max((abs(verdict.z) for verdict in verdicts), default=0.0),
        present=present,
        at=tuple(
            AtLimits(
                limits=limits,
                false_alarms=_false_alarms(quiet, curve, facts, verdicts, limits),
                delays_days=tuple(_delays(tried, limits)),
            )
            for limits in choices(present)
        ),
    )


def _quiet(hours: pd.DataFrame, curve: Curve, facts: PumpFacts) -> pd.DataFrame:
    """Return the hours before the first alarm that nobody can call false."""
    real = [alarm for alarm in head_alarms(hours, curve, facts) if not _went_away(alarm, facts)]
    first_day = min((alarm.verdict.change_day for alarm in real), default=None)
    return hours if first_day is None else hours[hours.index < first_day * DAY_MS]


def _went_away(alarm: Alarm, facts: PumpFacts) -> bool:
    if alarm.active:
        return False
    ended = alarm.verdict.last_day
    return not any(abs(event.time_utc_ms // DAY_MS - ended) <= WORK_DAYS for event in facts.events)


def _verdicts(hours: pd.DataFrame, curve: Curve, facts: PumpFacts) -> list[Verdict]:
    """Return the verdict of each day after the curve's own while nothing stands.

    Until something does, limits play no part in it.
    """
    judged = residuals(hours, curve, facts)
    verdicts = watch(head_templates(judged), _NEVER) if len(judged.day) else []
    return [verdict for verdict in verdicts if verdict.last_day > _last_learned_day(curve)]


def _last_learned_day(curve: Curve) -> int:
    return curve.last_hour_utc_ms // DAY_MS


def _false_alarms(
    quiet: pd.DataFrame, curve: Curve, facts: PumpFacts, verdicts: Sequence[Verdict], limits: Limits
) -> int:
    if not any(stands(verdict, limits) for verdict in verdicts):
        return 0
    as_set = replace(facts, head_loss_notice=limits.effect, head_loss_evidence_sd=limits.z)
    found = head_alarms(quiet, curve, as_set)
    return sum(alarm.raised_day > _last_learned_day(curve) and _went_away(alarm, facts) for alarm in found)


@dataclass(frozen=True, slots=True)
class _Trial:
    start_day: int
    verdicts: list[Verdict]


def _trials(quiet: pd.DataFrame, curve: Curve, facts: PumpFacts, loss: float) -> tuple[list[_Trial], int]:
    """Return each trial's verdicts and how long each waited [d]."""
    judged = residuals(quiet, curve, facts)
    after = np.unique(judged.day[judged.day > _last_learned_day(curve)])
    if curve.is_provisional or len(after) < 2 * SHORTEST_LOOK_DAYS:
        return [], 0
    look_days = min(int(after[-1] - after[0] + 1) // 2, LONGEST_LOOK_DAYS)
    starts = after[after + look_days - 1 <= after[-1]]
    picked = starts[np.unique(np.linspace(0, len(starts) - 1, MOST_TRIALS).astype(np.intp))]
    return [_trial(quiet, curve, facts, int(day), loss, look_days) for day in picked], look_days


def _trial(
    quiet: pd.DataFrame, curve: Curve, facts: PumpFacts, start_day: int, loss: float, look_days: int
) -> _Trial:
    since = baseline_start_utc_ms(facts)
    within = quiet[(quiet.index >= since) & (quiet.index < (start_day + look_days) * DAY_MS)]
    return _Trial(start_day, _verdicts(with_head_loss(within, start_day * DAY_MS, loss), curve, facts))


def _delays(trials: Sequence[_Trial], limits: Limits) -> list[float]:
    delays = []
    for trial in trials:
        raised = next((verdict.last_day for verdict in trial.verdicts if stands(verdict, limits)), None)
        if raised is None:
            delays.append(np.inf)
        elif raised >= trial.start_day:
            # The day ends before it is judged.
            delays.append(float(raised - trial.start_day + 1))
    return delays


def outcomes(tests: Sequence[BackTest]) -> list[Outcome]:
    """Return what each pair of limits that all the back-tests share does over them together."""
    shared = set.intersection(*({each.limits for each in test.at} for test in tests)) if tests else set()
    years = sum(test.quiet_days for test in tests) / DAYS_A_YEAR
    return [
        _outcome([each for test in tests for each in test.at if each.limits == limits], years)
        for limits in sorted(shared, key=lambda limits: (limits.z, limits.effect))
    ]


def _outcome(parts: Sequence[AtLimits], years: float) -> Outcome:
    delays = np.array([delay for part in parts for delay in part.delays_days])
    alarms_seen = sum(part.false_alarms for part in parts)
    return Outcome(
        limits=parts[0].limits,
        false_alarms=alarms_seen,
        pump_years=years,
        false_alarms_a_year=rate(alarms_seen, years),
        trials=len(delays),
        found=int(np.isfinite(delays).sum()),
        median_days=_percentile(delays, 0.5),
        p90_days=_percentile(delays, 0.9),
    )


def _percentile(delays: np.ndarray[tuple[int], np.dtype[np.float64]], share: float) -> float | None:
    """Return a delay that so many of the trials did not exceed; no mean of two, one of which may be never."""
    if not len(delays):
        return None
    found = float(np.quantile(delays, share, method="inverted_cdf"))
    return found if np.isfinite(found) else None
