"""What is held of earlier days spares their hours, and is dropped once it no longer says what they say."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from api.analysis import slow_pass
from api.analysis.site_pass import analyse_site
from api.analytics.facts import ServiceEvent
from api.analytics.not_assessable import RECENT_DAYS
from api.answers.source import Source
from api.store.held_days import StoredHeld, write_held
from api.store.stored_finding import State
from collector.site import load_site

# As in the small site's makers.
START_MS, DAYS, DAY_ROWS, DAY_MS = 1_780_272_000_000, 40, 288, 86_400_000
WORN = "Lap <b>pool</b> 2"

MakeSite = Callable[[str], Source]
SmallSite = Any


def analyse(source: Source) -> None:
    analyse_site(source.site, source.store, source.api_store, source.clock)


def said(source: Source) -> set[tuple[str, str, int, State]]:
    """What is said of each pump, and since when; an hour more moves the numbers a little."""
    return {
        (item.finding.pump, item.finding.kind, item.finding.first_utc_ms, item.state)
        for item in source.api_store.findings()
        if item.state is not State.WITHDRAWN
    }


def held(source: Source, pump: str = WORN) -> StoredHeld:
    found = source.api_store.held(pump)
    assert found is not None
    return found


def one_more_hour(small_site: SmallSite, source: Source, hour: int = 0) -> None:
    small_site.fill(source.store, DAYS * DAY_ROWS + hour * 12, 12)
    analyse(source)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The first hours from which a pass asked for stored hours."""
    starts: list[int] = []
    read = slow_pass.ClosedHours._read

    def noted(hours: slow_pass.ClosedHours, start_utc_ms: int, end_utc_ms: int) -> pd.DataFrame:
        starts.append(start_utc_ms)
        return read(hours, start_utc_ms, end_utc_ms)

    monkeypatch.setattr(slow_pass.ClosedHours, "_read", noted)
    return starts


def test_an_hour_more_asks_for_the_last_weeks_alone(
    small_site: SmallSite, analysed: Source, asked: list[int]
) -> None:
    one_more_hour(small_site, analysed)
    assert asked
    assert min(asked) >= START_MS + (DAYS - RECENT_DAYS - 5) * DAY_MS


def test_what_is_held_is_written_when_a_day_is_added_and_not_each_hour(
    small_site: SmallSite, analysed: Source
) -> None:
    before = held(analysed)
    one_more_hour(small_site, analysed)
    one_more_hour(small_site, analysed, hour=1)
    assert held(analysed) != before
    day = held(analysed)
    one_more_hour(small_site, analysed, hour=2)
    assert held(analysed) == day
    assert day.until_utc_ms == START_MS + (DAYS - 1) * DAY_MS


def test_deleted_it_is_made_anew_and_says_the_same(small_site: SmallSite, analysed: Source) -> None:
    one_more_hour(small_site, analysed)
    one_more_hour(small_site, analysed, hour=1)
    carried = said(analysed)
    with analysed.api_store.write() as connection:
        write_held(connection, WORN, None)
    analysed.store.append(small_site.readings(WORN, DAYS * DAY_ROWS + 24, 1, seed=1))
    analyse(analysed)
    assert said(analysed) == carried
    assert held(analysed).until_utc_ms == START_MS + (DAYS - 1) * DAY_MS


def test_readings_that_come_late_have_the_first_hour_asked_for_again(
    small_site: SmallSite, new_site: MakeSite, asked: list[int]
) -> None:
    source = new_site("late")
    hole = range(33 * DAY_ROWS, 34 * DAY_ROWS)
    small_site.fill(source.store, 0, hole.start)
    small_site.fill(source.store, hole.stop, DAYS * DAY_ROWS - hole.stop)
    analyse(source)
    asked.clear()
    small_site.fill(source.store, hole.start, len(hole))
    analyse(source)
    assert 0 in asked


@pytest.mark.parametrize("new_baseline", [True, False])
def test_an_event_drops_what_was_held(analysed: Source, new_baseline: bool) -> None:
    before = held(analysed)
    event = ServiceEvent(time_utc_ms=START_MS + 35 * DAY_MS, kind="vented", new_baseline=new_baseline)
    analysed.api_store.add_event(WORN, event, "technician")
    analyse(analysed)
    after = analysed.api_store.held(WORN)
    assert after is None if new_baseline else after is not None and after.made_from != before.made_from


def test_what_another_version_held_is_not_believed(
    small_site: SmallSite, analysed: Source, asked: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(slow_pass, "MEANING", 99)
    one_more_hour(small_site, analysed)
    assert 0 in asked


def test_other_settings_drop_what_was_held_and_what_it_was_made_from_says_so(
    analysed: Source, asked: list[int]
) -> None:
    before, path = held(analysed), analysed.site.path
    named = f'name = "{WORN}"\n'
    text = path.read_text(encoding="utf-8").replace(named, f"{named}head_loss_notice_pct = 10\n")
    path.write_text(text, encoding="utf-8")
    analyse(Source(load_site(path), analysed.store, analysed.api_store, analysed.clock))
    assert held(analysed).made_from != before.made_from
    assert 0 in asked
