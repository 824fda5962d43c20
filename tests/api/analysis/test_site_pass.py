"""Analysis of a whole site: again and again, in pieces, out of order, it says what one look at all would."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import pytest

from api.analysis import site_pass, write_result
from api.analysis.frames import Tail
from api.analysis.site_pass import AnalysisReport, analyse_site
from api.analytics.facts import ServiceEvent
from api.analytics.finding import Finding, Kind
from api.answers.source import Source
from api.store.stored_finding import State
from collector.clock import Clock
from collector.reading import FailureKind, PollFailure, Reading

# As in the small site's makers.
START_MS, STEP_MS, DAYS, DAY_ROWS, WORN_FROM_DAY, DAY_MS = 1_780_272_000_000, 300_000, 40, 288, 31, 86_400_000

MakeSite = Callable[[str], Source]


class PowerCut(BaseException):
    """The program's end at a bad moment: nothing that it could catch and go on from."""


SmallSite = Any
HEALTHY, WORN, ESTIMATED, EMPTY = "Lap pool 1", "Lap <b>pool</b> 2", "Hot tub", "Fountain"


def analyse(source: Source, tails: dict[str, Tail] | None = None) -> AnalysisReport:
    return analyse_site(source.site, source.store, source.api_store, source.clock, tails=tails)


def said(source: Source) -> list[tuple[Finding, State]]:
    kept = (item for item in source.api_store.findings() if item.state is not State.WITHDRAWN)
    return sorted(
        ((item.finding, item.state) for item in kept),
        key=lambda pair: (pair[0].pump, pair[0].kind, pair[0].first_utc_ms),
    )


def active(source: Source, pump: str) -> dict[Kind, Finding]:
    return {item.finding.kind: item.finding for item in source.api_store.findings(pump, [State.ACTIVE])}


def test_the_worn_pump_and_no_healthy_one_is_named(analysed: Source) -> None:
    assert Kind.HEAD_LOSS in active(analysed, WORN)
    assert active(analysed, HEALTHY) == {}


def test_the_loss_is_the_one_put_in_and_began_when_it_did(analysed: Source) -> None:
    finding = active(analysed, WORN)[Kind.HEAD_LOSS]
    assert finding.effect == pytest.approx(-0.06, abs=0.006)
    assert abs(finding.first_utc_ms - START_MS - WORN_FROM_DAY * DAY_MS) <= 1.5 * DAY_MS


def test_estimated_flow_and_head_never_lead_to_a_wear_claim(analysed: Source) -> None:
    assert set(active(analysed, ESTIMATED)) == {Kind.NOT_ASSESSABLE}


def test_a_second_pass_changes_nothing(analysed: Source) -> None:
    before = said(analysed)
    assert analyse(analysed).changed_findings == 0
    assert said(analysed) == before


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("tails", [None, {}], ids=["afresh", "following"])
def test_readings_that_come_in_pieces_say_the_same_as_all_at_once(
    small_site: SmallSite, analysed: Source, new_site: MakeSite, seed: int, tails: dict[str, Tail] | None
) -> None:
    tails = None if tails is None else {}
    source = new_site("pieces")
    cuts = np.sort(np.random.default_rng(seed).choice(np.arange(1, DAYS * DAY_ROWS), 12, replace=False))
    edges = [0, *map(int, cuts), DAYS * DAY_ROWS]
    for start, end in pairwise(edges):
        small_site.fill(source.store, start, end - start)
        analyse(source, tails)
    assert said(source) == said(analysed)
    for pump in (HEALTHY, WORN, ESTIMATED):
        pd.testing.assert_frame_equal(
            source.api_store.hours(pump), analysed.api_store.hours(pump), rtol=1e-12
        )
        assert source.api_store.curve(pump, 0) == analysed.api_store.curve(pump, 0)


def test_a_late_import_of_old_readings_is_taken_in(
    small_site: SmallSite, analysed: Source, new_site: MakeSite
) -> None:
    source = new_site("late")
    hole = range(35 * DAY_ROWS, 36 * DAY_ROWS)
    small_site.fill(source.store, 0, hole.start)
    small_site.fill(source.store, hole.stop, DAYS * DAY_ROWS - hole.stop)
    analyse(source)
    without = source.api_store.hours(WORN)
    small_site.fill(source.store, hole.start, len(hole))
    analyse(source)
    assert len(source.api_store.hours(WORN)) == len(without) + 24
    assert active(source, WORN)[Kind.HEAD_LOSS].effect == pytest.approx(-0.06, abs=0.006)


def test_the_hours_of_the_hole_are_whole_after_a_late_import(
    small_site: SmallSite, new_site: MakeSite
) -> None:
    source = new_site("whole")
    small_site.fill(source.store, 0, DAY_ROWS)
    small_site.fill(source.store, 2 * DAY_ROWS, DAY_ROWS)
    analyse(source)
    small_site.fill(source.store, DAY_ROWS, DAY_ROWS)
    analyse(source)
    seen = source.api_store.hours(HEALTHY)["seconds_seen"]
    # The last reading ends what is seen five minutes before its hour does.
    assert seen.tolist() == [3600.0] * (3 * 24 - 1) + [3300.0]


def test_only_hours_that_changed_are_looked_at_again(small_site: SmallSite, analysed: Source) -> None:
    analysed.store.append([next_reading(small_site, HEALTHY)])
    report = analyse(analysed)
    assert report.pumps == 1
    assert report.hours <= 2


def test_where_nothing_arrived_nothing_is_looked_at(analysed: Source) -> None:
    assert analyse(analysed).pumps == 0


def test_an_event_without_any_new_reading_is_looked_at(analysed: Source) -> None:
    event = ServiceEvent(time_utc_ms=START_MS + 35 * DAY_MS, kind="impeller_changed", new_baseline=True)
    analysed.api_store.add_event(WORN, event, "technician")
    assert analyse(analysed).pumps == 1
    assert Kind.HEAD_LOSS not in active(analysed, WORN)


def test_hours_summed_by_an_older_version_are_worked_out_anew(
    analysed: Source, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(write_result, "LAYOUT", 1)
    assert analyse(analysed).hours >= 3 * DAYS * 24


def next_reading(small_site: SmallSite, pump: str, rows_on: int = 0, **values: float) -> Reading:
    (reading,) = small_site.readings(pump, DAYS * DAY_ROWS + rows_on, 1, seed=1)
    return replace(reading, **values)


def test_a_drive_fault_stands_while_it_is_reported_and_returns_to_normal_after(
    small_site: SmallSite, analysed: Source
) -> None:
    analysed.store.append(
        [next_reading(small_site, HEALTHY, row, fault_code=12, speed_rpm=0.0) for row in range(3)]
    )
    analyse(analysed)
    raised = active(analysed, HEALTHY)[Kind.DRIVE_FAULT]
    assert raised.effect == 12
    analysed.store.append([next_reading(small_site, HEALTHY, row) for row in range(3, 30)])
    analyse(analysed)
    assert Kind.DRIVE_FAULT not in active(analysed, HEALTHY)
    (over,) = [item for item in analysed.api_store.findings(HEALTHY) if item.finding.kind is Kind.DRIVE_FAULT]
    changes = [change.what for change in analysed.api_store.changes(over.finding_id)]
    assert over.state is State.RETURNED_TO_NORMAL
    assert (changes[0], changes[-1]) == ("raised", "returned_to_normal")


def test_a_reading_in_the_future_does_not_end_what_stands_now(
    small_site: SmallSite, analysed: Source
) -> None:
    """A clock that was set back leaves readings that are newer than all that come after."""
    analysed.store.append([next_reading(small_site, HEALTHY, 10 * DAY_ROWS)])
    analyse(analysed)
    faulty = [next_reading(small_site, HEALTHY, row, fault_code=12, speed_rpm=0.0) for row in range(3)]
    analysed.store.append(faulty)
    now = Clock(simulated_start_ms=faulty[-1].time_utc_ms, real_start_ms=0, speed_up=1e-9)
    analyse(replace(analysed, clock=now))
    assert Kind.DRIVE_FAULT in active(analysed, HEALTHY)


def test_a_changed_limit_of_starts_holds_for_what_was_found_in_the_last_weeks(
    small_site: SmallSite, analysed: Source
) -> None:
    rows = range(24)  # two hours, with a start every quarter of an hour
    rests = {"speed_rpm": 0.0, "power_w": 5.0, "flow_m3h": 0.0, "head_m": 0.0}
    analysed.store.append(
        [next_reading(small_site, HEALTHY, row, **(rests if row % 3 else {})) for row in rows]
    )
    analysed.store.append([next_reading(small_site, HEALTHY, row) for row in range(24, 200)])
    analyse(analysed)
    for limit, expected in ((20.0, []), (3.0, [3.0])):
        pumps = tuple(
            pump.model_copy(update={"starts_per_hour_limit": limit}) if pump.name == HEALTHY else pump
            for pump in analysed.site.pumps
        )
        analyse(replace(analysed, site=analysed.site.model_copy(update={"pumps": pumps})))
        told = [one for one, _ in said(analysed) if one.kind is Kind.REPEATED_STARTS and one.pump == HEALTHY]
        limits = [item.value for one in told for item in one.evidence if item.name == "starts_limit_per_hour"]
        assert [each for each in limits if told[0].priority == "soon"] == expected


def test_an_acknowledgement_outlives_the_next_pass(small_site: SmallSite, analysed: Source) -> None:
    (item,) = [item for item in analysed.api_store.findings(WORN) if item.finding.kind is Kind.HEAD_LOSS]
    analysed.api_store.acknowledge(item.finding_id, 1, "engineer")
    small_site.fill(analysed.store, DAYS * DAY_ROWS, DAY_ROWS)
    analyse(analysed)
    after = analysed.api_store.finding(item.finding_id)
    assert after is not None
    assert after.acknowledged_by == "engineer"
    assert after.finding.last_utc_ms > item.finding.last_utc_ms


def test_a_silent_drive_is_reported_and_its_other_findings_stay(analysed: Source) -> None:
    end = START_MS + DAYS * DAY_MS
    analysed.store.record_failures(
        [
            PollFailure(
                pump=WORN, time_utc_ms=end + row * 10_000, kind=FailureKind.NO_REPLY, sentence="silence"
            )
            for row in range(120)
        ]
    )
    analyse(analysed)
    assert set(active(analysed, WORN)) == {Kind.HEAD_LOSS, Kind.NO_REPLY}


def test_nothing_but_a_recorded_event_starts_a_new_baseline(small_site: SmallSite, analysed: Source) -> None:
    before = analysed.api_store.curve(WORN, 0)
    small_site.fill(analysed.store, DAYS * DAY_ROWS, 10 * DAY_ROWS)
    analyse(analysed)
    assert analysed.api_store.curve(WORN, 0) == before


def test_after_an_event_with_a_new_baseline_the_old_finding_is_over_and_the_old_curve_is_kept(
    small_site: SmallSite,
    analysed: Source,
) -> None:
    old = analysed.api_store.curve(WORN, 0)
    repaired = START_MS + DAYS * DAY_MS
    event = ServiceEvent(time_utc_ms=repaired, kind="impeller_changed", new_baseline=True)
    analysed.api_store.add_event(WORN, event, "technician")
    analysed.store.append(small_site.readings(WORN, DAYS * DAY_ROWS, 8 * DAY_ROWS, seed=2))
    analyse(analysed)
    assert Kind.HEAD_LOSS not in active(analysed, WORN)
    new = analysed.api_store.curve(WORN, repaired)
    assert new is not None
    assert new.document["first_hour_utc_ms"] >= repaired
    assert analysed.api_store.curve(WORN, 0) == old


def test_a_pass_that_dies_half_way_is_made_good_by_the_next(
    small_site: SmallSite, analysed: Source, new_site: MakeSite, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = new_site("dies")
    small_site.fill(source.store, 0, DAYS * DAY_ROWS)
    written = []

    def dies_at_the_second(*arguments: object, **named: object) -> int:
        if written:
            raise PowerCut
        written.append(1)
        return write(*arguments, **named)

    write = site_pass.write_result
    monkeypatch.setattr(site_pass, "write_result", dies_at_the_second)
    with pytest.raises(PowerCut):
        analyse(source)
    monkeypatch.undo()
    analyse(source)
    assert said(source) == said(analysed)


def test_looking_in_one_process_says_the_same_as_in_several(
    small_site: SmallSite, analysed: Source, new_site: MakeSite, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = new_site("one")
    small_site.fill(source.store, 0, DAYS * DAY_ROWS)
    monkeypatch.setattr(site_pass, "HOURS_WORTH_PROCESSES", 10**9)
    analyse(source)
    assert said(source) == said(analysed)


def test_a_pump_without_readings_is_no_trouble(analysed: Source) -> None:
    assert active(analysed, EMPTY) == {}


def test_a_reading_with_nothing_good_in_it_is_no_trouble(analysed: Source) -> None:
    end = START_MS + DAYS * DAY_MS
    analysed.store.append([Reading(pump=EMPTY, time_utc_ms=end + row * STEP_MS) for row in range(20)])
    analyse(analysed)
    assert analysed.api_store.hours(EMPTY)["readings"].sum() == 20


def test_one_that_follows_reads_again_only_what_changed_and_takes_in_what_comes_late(
    small_site: SmallSite, analysed: Source
) -> None:
    tails: dict[str, Tail] = {}
    analysed.store.append([next_reading(small_site, HEALTHY)])
    analyse(analysed, tails)
    kept = tails[HEALTHY].frame
    late = START_MS + (DAYS * DAY_ROWS - 100) * STEP_MS + 1
    analysed.store.append([replace(next_reading(small_site, HEALTHY), time_utc_ms=late)])
    analysed.store.append([next_reading(small_site, HEALTHY, 1)])
    analyse(analysed, tails)
    assert late not in kept.index
    assert late in tails[HEALTHY].frame.index
    start, end = tails[HEALTHY].start_utc_ms, START_MS + (DAYS + 1) * DAY_MS
    stored = [row[0] for row in analysed.store.rows(HEALTHY, start, end)]
    assert tails[HEALTHY].frame.index.tolist() == stored
