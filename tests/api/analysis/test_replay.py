"""The replay says what was said on each day, from what was known on that day, and nothing from later."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from api.analysis.pump_pass import learn
from api.analysis.reconcile import is_same
from api.analysis.replay import Said, replay
from api.analytics.curve import Curve
from api.analytics.drift import slow_findings
from api.analytics.facts import PumpFacts, ServiceEvent
from api.analytics.finding import INFORMATION_KINDS, Finding, Kind
from api.analytics.spans import DAY_MS
from api.answers.source import Source

# As in the small site's makers.
START_MS, DAYS, WORN_FROM_DAY = 1_780_272_000_000, 40, 31
HEALTHY, WORN, ESTIMATED = "Lap pool 1", "Lap <b>pool</b> 2", "Hot tub"
SmallSite = Any


def given(source: Source, pump: str) -> tuple[pd.DataFrame, PumpFacts]:
    return source.api_store.hours(pump), source.facts(source.site.pump(pump))


def told(said: list[Said]) -> list[tuple[int, Finding]]:
    return [(each.raised_utc_ms, each.finding) for each in said]


def loud(said: list[Said]) -> list[Said]:
    return [each for each in said if each.finding.kind not in INFORMATION_KINDS]


def day_by_day(hours: pd.DataFrame, facts: PumpFacts) -> list[tuple[int, Finding]]:
    """Say on each day what one look at all that was known then says, with no shortcut."""
    first: list[tuple[int, Finding]] = []
    known: list[Finding] = []
    for day in np.unique(hours.index.to_numpy() // DAY_MS):
        past = hours[hours.index < (day + 1) * DAY_MS]
        learned = learn(past, facts)
        curve = Curve.from_dict(learned.document) if learned else None
        for finding in slow_findings(past, curve, facts):
            if not any(is_same(item, finding) for item in known):
                first.append(((int(day) + 1) * DAY_MS, finding))
            known = [item for item in known if not is_same(item, finding)] + [finding]
    return first


@pytest.mark.parametrize("pump", [HEALTHY, WORN, ESTIMATED])
def test_the_replay_is_the_engine_run_again_on_every_day(analysed: Source, pump: str) -> None:
    hours, facts = given(analysed, pump)
    assert told(replay(hours, facts)) == day_by_day(hours, facts)


def test_a_loss_is_raised_within_three_days_of_its_beginning(analysed: Source) -> None:
    raised = loud(replay(*given(analysed, WORN)))
    assert len(raised) == 1
    after_days = (raised[0].raised_utc_ms - START_MS) / DAY_MS - WORN_FROM_DAY
    assert 0 < after_days <= 3


def test_a_healthy_pump_would_have_been_left_alone(analysed: Source) -> None:
    assert loud(replay(*given(analysed, HEALTHY))) == []


@pytest.mark.parametrize("days", [10, 30, 33, 36])
def test_what_comes_later_changes_nothing_that_was_said(analysed: Source, days: int) -> None:
    hours, facts = given(analysed, WORN)
    end = START_MS + days * DAY_MS
    whole = [each for each in replay(hours, facts) if each.raised_utc_ms <= end]
    assert told(replay(hours[hours.index < end], facts)) == told(whole)


def test_work_recorded_for_later_changes_nothing_that_was_said_before(analysed: Source) -> None:
    hours, facts = given(analysed, WORN)
    later = ServiceEvent(time_utc_ms=START_MS + 36 * DAY_MS, kind="impeller_changed", new_baseline=True)
    known = replay(hours, replace(facts, events=(later,)))
    before = [each for each in replay(hours, facts) if each.raised_utc_ms <= later.time_utc_ms]
    assert told([each for each in known if each.raised_utc_ms <= later.time_utc_ms]) == told(before)


def test_after_a_new_baseline_the_curve_is_learned_again_and_the_old_loss_is_not_told_twice(
    analysed: Source, small_site: SmallSite
) -> None:
    hours, facts = given(analysed, WORN)
    later = ServiceEvent(time_utc_ms=START_MS + 36 * DAY_MS, kind="impeller_changed", new_baseline=True)
    after = [
        each.finding
        for each in replay(hours, replace(facts, events=(later,)))
        if each.raised_utc_ms > later.time_utc_ms
    ]
    assert {finding.kind for finding in after} == {Kind.NOT_ASSESSABLE}
    assert after[0].causes[0].names == ("baseline_too_short",)


def test_the_newest_form_is_what_the_engine_says_at_the_end(analysed: Source) -> None:
    hours, facts = given(analysed, WORN)
    learned = learn(hours, facts)
    assert learned is not None
    now = slow_findings(hours, Curve.from_dict(learned.document), facts)
    assert [each.newest for each in loud(replay(hours, facts))] == now


def test_nothing_stored_is_nothing_said(analysed: Source) -> None:
    hours, facts = given(analysed, HEALTHY)
    assert replay(hours.iloc[:0], facts) == []
