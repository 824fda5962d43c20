"""Readings that contradict what the site file says of them are told, and nothing of wear meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from api.analysis.past_doubts import past_doubts
from api.analysis.provenance_look import contradiction, look_number
from api.analysis.replay import day_ends_utc_ms
from api.analysis.site_pass import AnalysisReport, analyse_site
from api.analytics.facts import PumpFacts
from api.analytics.finding import Kind
from api.answers.pages import pump_page
from api.answers.replays import Replayed, replayed
from api.answers.source import Source
from api.store.stored_finding import State
from collector.reading import Reading
from collector.site import load_site
from dashboards import pages

# As in the small site's makers.
START_MS, DAYS, DAY_ROWS, HOUR_MS, DAY_MS = 1_780_272_000_000, 40, 288, 3_600_000, 86_400_000
SECOND, ESTIMATED = "Lap <b>pool</b> 2", "Hot tub"
SmallSite = Any


def analyse(source: Source) -> AnalysisReport:
    return analyse_site(source.site, source.store, source.api_store, source.clock)


def reasons(source: Source, pump: str) -> set[tuple[str, ...]]:
    active = source.api_store.findings(pump, [State.ACTIVE])
    return {item.finding.causes[0].names for item in active if item.finding.kind is Kind.NOT_ASSESSABLE}


def computed(readings: list[Reading]) -> list[Reading]:
    """Return the readings as a drive reports them that computes flow and head from speed and power."""
    speed = np.array([each.speed_rpm for each in readings])
    power = np.array([each.power_w for each in readings])
    ratio = 0.0075 * (1 + 2 * ((power - 40) / (9.2e-8 * speed**3) - 1))
    head = speed**2 * (2.4e-6 - 1.2e-2 * ratio**2)
    return [
        replace(each, flow_m3h=round(float(r * n), 2), head_m=round(float(h), 2))
        for each, n, r, h in zip(readings, speed, ratio, head, strict=True)
    ]


@pytest.fixture
def wrongly_declared(small_site: SmallSite, new_site: Callable[[str], Source]) -> Source:
    """Return the small site with a second pump that computes what it is declared to measure."""
    source = new_site("wrong")
    source.store.append(computed(small_site.readings(SECOND, 0, DAYS * DAY_ROWS, seed=2, loss_from_day=31)))
    return source


def test_a_computed_flow_that_is_declared_measured_is_told(wrongly_declared: Source) -> None:
    analyse(wrongly_declared)
    assert reasons(wrongly_declared, SECOND) == {("provenance_contradicted",)}


def test_nothing_of_wear_is_told_meanwhile(wrongly_declared: Source) -> None:
    analyse(wrongly_declared)
    kinds = {item.finding.kind for item in wrongly_declared.api_store.findings(SECOND, [State.ACTIVE])}
    assert kinds == {Kind.NOT_ASSESSABLE}
    assert pump_page(wrongly_declared, wrongly_declared.site.pump(SECOND)).row.assessable_share == 0.0


def test_the_page_says_why_in_words(wrongly_declared: Source) -> None:
    analyse(wrongly_declared)
    page = pages.pump_page(pump_page(wrongly_declared, wrongly_declared.site.pump(SECOND)))
    assert "The readings contradict what the site file says of their origin" in page


def test_measured_flow_and_head_that_are_declared_measured_are_not_doubted(analysed: Source) -> None:
    assert reasons(analysed, "Lap pool 1") == set()
    assert reasons(analysed, SECOND) == set()


def test_measured_flow_and_head_that_are_declared_estimated_are_doubted_too(analysed: Source) -> None:
    assert ("provenance_contradicted",) in reasons(analysed, ESTIMATED)


def test_the_doubt_stands_from_look_to_look_with_its_beginning(
    wrongly_declared: Source, small_site: SmallSite
) -> None:
    analyse(wrongly_declared)
    more = small_site.readings(SECOND, DAYS * DAY_ROWS, 3 * DAY_ROWS, seed=2)
    for start in range(0, len(more), 48):
        wrongly_declared.store.append(computed(more[start : start + 48]))
        analyse(wrongly_declared)
    stored = wrongly_declared.api_store.findings(SECOND)
    assert len(stored) == 1
    assert stored[0].finding.first_utc_ms == START_MS
    assert stored[0].finding.last_utc_ms >= START_MS + (DAYS + 3) * DAY_MS - 2 * HOUR_MS


def test_a_corrected_site_file_is_looked_at_again_without_any_new_reading(wrongly_declared: Source) -> None:
    analyse(wrongly_declared)
    path = wrongly_declared.site.path
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace('flow = "measured", head = "measured"', 'flow = "estimated", head = "estimated"'),
        encoding="utf-8",
    )
    corrected = Source(
        load_site(path), wrongly_declared.store, wrongly_declared.api_store, wrongly_declared.clock
    )
    assert analyse(corrected).pumps == 1
    assert reasons(corrected, SECOND) == {("estimated_flow_or_head",)}


def test_a_threshold_that_was_changed_is_taken_up_without_any_new_reading(analysed: Source) -> None:
    path = analysed.site.path
    text = path.read_text(encoding="utf-8")
    named = f'name = "{SECOND}"\n'
    path.write_text(text.replace(named, f"{named}head_loss_notice_pct = 10\n"), encoding="utf-8")
    stricter = Source(load_site(path), analysed.store, analysed.api_store, analysed.clock)
    before = {item.finding.kind for item in analysed.api_store.findings(SECOND, [State.ACTIVE])}
    assert analyse(stricter).pumps == 1
    after = {item.finding.kind for item in analysed.api_store.findings(SECOND, [State.ACTIVE])}
    assert (Kind.HEAD_LOSS in before, Kind.HEAD_LOSS in after) == (True, False)


def test_a_pump_with_few_readings_is_not_doubted(
    new_site: Callable[[str], Source], small_site: SmallSite
) -> None:
    source = new_site("few")
    source.store.append(computed(small_site.readings(SECOND, 0, DAY_ROWS, seed=2)))
    analyse(source)
    assert reasons(source, SECOND) == {("baseline_too_short",)}


def test_it_is_looked_for_once_a_day_and_not_for_all_pumps_at_one_hour() -> None:
    hours = range(0, 48 * HOUR_MS, HOUR_MS)
    changes = []
    for pump in ("P01", "P02", "P03", "P04", "P05"):
        numbers = [look_number(PumpFacts(pump=pump), hour) for hour in hours]
        changes.append([place for place in range(1, 48) if numbers[place] != numbers[place - 1]])
    assert all(len(each) == 2 and each[1] - each[0] == 24 for each in changes)
    assert len({each[0] for each in changes}) > 1


def replayed_of(source: Source, pump: str) -> Replayed:
    return replayed(source, [source.site.pump(pump)], 0.03, lambda *_: None)[0]


def test_the_replay_says_the_contradiction_and_nothing_of_wear_while_it_stands(
    wrongly_declared: Source,
) -> None:
    analyse(wrongly_declared)
    told = replayed_of(wrongly_declared, SECOND)
    assert ("provenance_contradicted",) in {each.finding.causes[0].names for each in told.said}
    assert {each.finding.kind for each in told.said} == {Kind.NOT_ASSESSABLE}
    # Until a week of readings is there the curve is still being learned, and then the doubt is told.
    assert told.said[-1].raised_utc_ms <= START_MS + 8 * DAY_MS


def test_no_threshold_is_tried_on_a_pump_whose_readings_are_in_doubt(wrongly_declared: Source) -> None:
    analyse(wrongly_declared)
    assert replayed_of(wrongly_declared, SECOND).test is None


def test_a_pump_that_is_declared_rightly_is_never_doubted_in_the_replay(analysed: Source) -> None:
    names = {
        each.finding.causes[0].names for each in replayed_of(analysed, SECOND).said if each.finding.causes
    }
    assert ("provenance_contradicted",) not in names


def test_a_doubt_that_begins_halfway_is_told_from_the_day_on_which_a_look_finds_it(
    new_site: Callable[[str], Source], small_site: SmallSite
) -> None:
    source = new_site("turned")
    readings = small_site.readings(SECOND, 0, DAYS * DAY_ROWS, seed=2)
    half = 20 * DAY_ROWS
    source.store.append([*readings[:half], *computed(readings[half:])])
    analyse(source)
    facts = source.facts(source.site.pump(SECOND))
    ends = day_ends_utc_ms(source.api_store.hours(SECOND))
    doubts = past_doubts(source.store, source.api_store, facts, ends)
    by_day, stands = [], False
    for end in ends:
        found = contradiction(source.store, source.api_store, facts, end, anew=True, stands=stands)
        stands = found is not None
        by_day += [end] if stands else []
    assert by_day == sorted(doubts)
    # Two weeks must agree before a doubt comes.
    assert START_MS + 28 * DAY_MS <= by_day[0] <= START_MS + 36 * DAY_MS


def stood_on(source: Source, stands: bool) -> list[bool]:
    """Return for each day after the second week whether a look that goes on from this finds a doubt."""
    facts = source.facts(source.site.pump(SECOND))
    return [
        contradiction(
            source.store, source.api_store, facts, START_MS + day * DAY_MS, anew=True, stands=stands
        )
        is not None
        for day in range(16, DAYS, 3)
    ]


@pytest.mark.parametrize("stands", [False, True])
def test_weeks_that_agree_are_believed_whatever_stood_before(
    wrongly_declared: Source, analysed: Source, stands: bool
) -> None:
    assert all(stood_on(wrongly_declared, stands))
    assert not any(stood_on(analysed, stands))


@pytest.mark.parametrize("stands", [False, True])
def test_some_days_that_say_otherwise_change_nothing(
    new_site: Callable[[str], Source], small_site: SmallSite, stands: bool
) -> None:
    source = new_site("flapping")
    readings = small_site.readings(SECOND, 0, DAYS * DAY_ROWS, seed=2)
    other = slice(22 * DAY_ROWS, 26 * DAY_ROWS)
    odd_days = readings[other] if stands else computed(readings[other])
    rest = computed(readings) if stands else readings
    source.store.append([*rest[: other.start], *odd_days, *rest[other.stop :]])
    facts = source.facts(source.site.pump(SECOND))
    standing = stands
    for day in range(21, DAYS):
        found = contradiction(
            source.store, source.api_store, facts, START_MS + day * DAY_MS, anew=True, stands=standing
        )
        standing = found is not None
        assert standing is stands
