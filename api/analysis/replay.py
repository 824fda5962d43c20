"""The same engine over stored hours as if day by day: what would have been said, and on which day."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

import numpy as np
import pandas as pd

from api.analysis.provenance_look import in_doubt, with_reason
from api.analysis.pump_pass import learn
from api.analysis.reconcile import is_same
from api.analytics.curve import Curve
from api.analytics.drift import every_alarm, slow_findings
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding
from api.analytics.not_assessable import not_assessable_findings
from api.analytics.spans import DAY_MS
from api.analytics.system import system_findings

NO_DOUBTS: Final[Mapping[int, Finding]] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """A finding as it was first told, at ``raised_utc_ms``: the end of a UTC day where days are judged.

    ``newest`` is the form that it had taken when it was last told.
    """

    finding: Finding
    raised_utc_ms: int
    newest: Finding


def replay(hours: pd.DataFrame, facts: PumpFacts, doubts: Mapping[int, Finding] = NO_DOUBTS) -> list[Said]:
    """Return every slow finding as it would first have been told, in the order of telling.

    ``hours`` are all hour rows of the pump, in order. Each day is judged from the hours and the recorded
    events up to its end alone, with the curve as it was learned by then. A day on which nothing can stand is
    known beforehand, since no verdict looks ahead, and only the system is looked at on it. ``doubts`` are
    what :func:`api.analysis.past_doubts.past_doubts` found: on such a day nothing of wear is told.
    """
    said: list[Said] = []
    for day_end_utc_ms, found in _days(hours, facts, doubts):
        for finding in found:
            known = [place for place, each in enumerate(said) if is_same(each.newest, finding)]
            for place in known:
                said[place] = replace(said[place], newest=finding)
            if not known:
                said.append(Said(finding=finding, raised_utc_ms=day_end_utc_ms, newest=finding))
    return said


def day_ends_utc_ms(hours: pd.DataFrame) -> list[int]:
    """Return the ends [ms UTC] of the UTC days of which there are hour rows, in order."""
    ends: list[int] = ((np.unique(hours.index.to_numpy() // DAY_MS) + 1) * DAY_MS).tolist()
    return ends


def _days(
    hours: pd.DataFrame, facts: PumpFacts, doubts: Mapping[int, Finding]
) -> Iterator[tuple[int, list[Finding]]]:
    ends = day_ends_utc_ms(hours)
    for until, since in _baselines(facts):
        those = [end for end in ends if since < end <= until]
        known = replace(facts, events=tuple(e for e in facts.events if e.time_utc_ms <= since))
        yield from _of_one_baseline(hours[hours.index < until], known, those, doubts)


def _baselines(facts: PumpFacts) -> Iterator[tuple[int, int]]:
    """Return (end, start) [ms UTC] of each stretch of days that one baseline judges, oldest first."""
    starts = [0, *(event.time_utc_ms for event in facts.events if event.new_baseline), 2**62]
    for place in range(len(starts) - 1):
        yield starts[place + 1], starts[place]


def _of_one_baseline(
    hours: pd.DataFrame, known: PumpFacts, days: Sequence[int], doubts: Mapping[int, Finding]
) -> Iterator[tuple[int, list[Finding]]]:
    curve: Curve | None = None
    standing: frozenset[int] | None = None
    for end in days:
        past = hours[hours.index < end]
        if standing is None:
            learned = learn(past, known)
            curve = Curve.from_dict(learned.document) if learned else None
        if end in doubts:
            found = with_reason(slow_findings(past, curve, in_doubt(known)), doubts[end])
        elif standing is None or end in standing:
            found = slow_findings(past, curve, known)
        else:
            found = _about_the_system(past, curve, known)
        yield end, found
        if standing is None and learned is not None and learned.is_full:
            standing = _standing(hours, curve, known)


def _standing(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> frozenset[int]:
    """Return the ends [ms UTC] of the days on which a change of head or power may stand."""
    found = every_alarm(hours, curve, facts)
    return frozenset(
        (day + 1) * DAY_MS for each in found for day in range(each.raised_day, each.verdict.last_day + 1)
    )


def _about_the_system(past: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Finding]:
    found = not_assessable_findings(past, curve, facts)
    if curve is not None and facts.wear_can_be_seen:
        found += system_findings(past, curve, facts)
    return found
