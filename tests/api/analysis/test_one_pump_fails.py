"""One pump whose analysis fails costs its neighbours nothing, and is said wherever a person looks."""

# ruff: noqa: ANN401 - what stands in for a part of the product takes whatever that part takes

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from api.analysis import site_pass
from api.analysis.failed_pump import noted_failure
from api.analysis.site_pass import AnalysisReport, analyse_site
from api.analytics.facts import ServiceEvent
from api.analytics.finding import Kind
from api.answers.pages import pump_page, site_page
from api.answers.source import Source
from api.commands import main
from collector.clock import Clock
from collector.store import StoreError
from dashboards import pages as html

HEALTHY, WORN, ESTIMATED = "Lap pool 1", "Lap <b>pool</b> 2", "Hot tub"
DAYS, DAY_ROWS = 40, 288
NOW_MS = 1_780_272_000_000 + DAYS * 86_400_000
MakeSite = Callable[[str], Source]


def analyse(source: Source) -> AnalysisReport:
    return analyse_site(source.site, source.store, source.api_store, source.clock)


def failing(pump: str, error: Exception) -> Callable[..., Any]:
    """Return a look that raises for one pump and is the real one for all others."""
    real = site_pass.look_again

    def look(store: Any, api_store: Any, facts: Any, *rest: Any) -> Any:
        if facts.pump == pump:
            raise error
        return real(store, api_store, facts, *rest)

    return look


@pytest.fixture
def filled(new_site: MakeSite, small_site: Any) -> Source:
    source = new_site("failing")
    small_site.fill(source.store, 0, DAYS * DAY_ROWS)
    return source


@pytest.fixture
def broken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        site_pass, "look_again", failing(HEALTHY, ZeroDivisionError("float division by zero"))
    )
    monkeypatch.setattr(site_pass, "HOURS_WORTH_PROCESSES", 10**9)


@pytest.mark.usefixtures("broken")
def test_the_worn_neighbour_is_told_although_the_first_pump_fails(filled: Source) -> None:
    report = analyse(filled)
    assert [each.pump for each in report.failed] == [HEALTHY]
    assert Kind.HEAD_LOSS in {item.finding.kind for item in filled.api_store.findings(WORN)}
    assert filled.api_store.hours(HEALTHY).empty


@pytest.mark.usefixtures("broken")
def test_what_is_said_is_one_line_with_pump_trouble_and_place(filled: Source) -> None:
    (failed,) = analyse(filled).failed
    assert "\n" not in failed.sentence
    assert failed.sentence.startswith(
        "Lap pool 1: analysis failed (ZeroDivisionError: float division by zero"
    )
    assert re.search(r"at api/analysis/site_pass\.py:\d+", failed.sentence)


@pytest.mark.usefixtures("broken")
def test_the_command_says_it_and_ends_with_a_failure(
    filled: Source, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["analyse", "--site", str(filled.site.path), "--json"]) == 1
    output = capsys.readouterr()
    assert json.loads(output.out)["pumps_failed"] == [HEALTHY]
    assert output.err.count("\n") == 1
    assert "Lap pool 1: analysis failed" in output.err


@pytest.mark.usefixtures("broken")
def test_the_pages_of_the_site_and_of_the_pump_say_it(filled: Source) -> None:
    analyse(filled)
    site = html.site_page(site_page(filled))
    assert "1 could not be analysed" in site
    assert "Lap pool 1: analysis failed" in site
    pump = html.pump_page(pump_page(filled, filled.site.pump(HEALTHY)))
    assert "analysis failed (ZeroDivisionError" in pump
    assert "analysis failed" not in html.pump_page(pump_page(filled, filled.site.pump(WORN)))


@pytest.mark.usefixtures("broken")
def test_the_findings_command_and_json_name_it(filled: Source, capsys: pytest.CaptureFixture[str]) -> None:
    analyse(filled)
    words = ["findings", "--site", str(filled.site.path), "--clock", filled.clock.as_text()]
    assert main(words) == 0
    assert "1 could not be analysed" in capsys.readouterr().out.splitlines()[0]
    main([*words, "--json"])
    assert json.loads(capsys.readouterr().out)["pumps_not_analysed"] == [HEALTHY]


def test_an_analysis_that_goes_through_later_takes_the_note_away(
    filled: Source, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patched:
        patched.setattr(site_pass, "look_again", failing(HEALTHY, ValueError()))
        patched.setattr(site_pass, "HOURS_WORTH_PROCESSES", 10**9)
        analyse(filled)
    assert noted_failure(filled.api_store, HEALTHY) is not None
    assert analyse(filled).failed == ()
    assert noted_failure(filled.api_store, HEALTHY) is None
    assert len(filled.api_store.hours(HEALTHY)) == DAYS * 24


@pytest.fixture
def tries(filled: Source, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The pumps that a follower looked at, of which the first always fails."""
    looked: list[str] = []
    look = failing(HEALTHY, ValueError())

    def noted(store: Any, api_store: Any, facts: Any, *rest: Any) -> Any:
        looked.append(facts.pump)
        return look(store, api_store, facts, *rest)

    monkeypatch.setattr(site_pass, "look_again", noted)
    monkeypatch.setattr(site_pass, "HOURS_WORTH_PROCESSES", 10**9)
    return looked


def follow(source: Source, small_site: Any, row: int, seconds: int = 0) -> AnalysisReport:
    """Make a follower's pass so long after the source's clock, with one reading more of each pump."""
    small_site.fill(source.store, DAYS * DAY_ROWS + row, 1)
    # As good as still, so that a slow machine tries no earlier.
    clock = Clock(simulated_start_ms=NOW_MS + seconds * 1000, speed_up=1e-9)
    return analyse_site(source.site, source.store, source.api_store, clock, tails={})


def test_a_follower_lets_a_failed_pump_rest_for_an_hour_and_still_reports_it(
    filled: Source, small_site: Any, tries: list[str]
) -> None:
    follow(filled, small_site, 0)
    report = follow(filled, small_site, 1, seconds=3599)
    assert tries.count(HEALTHY) == 1
    assert tries.count(WORN) == 2
    assert [each.pump for each in report.failed] == [HEALTHY]
    follow(filled, small_site, 2, seconds=3600)
    assert tries.count(HEALTHY) == 2


def test_what_a_person_states_of_a_failed_pump_ends_its_rest(
    filled: Source, small_site: Any, tries: list[str]
) -> None:
    follow(filled, small_site, 0)
    event = ServiceEvent(time_utc_ms=NOW_MS, kind="vented", new_baseline=False)
    filled.api_store.add_event(HEALTHY, event, "technician")
    follow(filled, small_site, 1, seconds=1)
    assert tries.count(HEALTHY) == 2


def test_a_person_who_asks_is_answered_though_it_failed_a_moment_ago(
    filled: Source, small_site: Any, tries: list[str]
) -> None:
    follow(filled, small_site, 0)
    analyse(filled)
    assert tries.count(HEALTHY) == 2


def test_a_pump_that_fails_when_it_is_written_is_one_pump_too(
    filled: Source, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = site_pass.write_result

    def write(api_store: Any, result: Any, *rest: Any) -> int:
        if result.pump == HEALTHY:
            raise KeyError("layout")
        return real(api_store, result, *rest)

    monkeypatch.setattr(site_pass, "write_result", write)
    assert [each.pump for each in analyse(filled).failed] == [HEALTHY]
    assert Kind.HEAD_LOSS in {item.finding.kind for item in filled.api_store.findings(WORN)}


def test_a_database_in_trouble_is_no_pumps_fault(filled: Source, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(site_pass, "look_again", failing(HEALTHY, StoreError("the disk is full")))
    monkeypatch.setattr(site_pass, "HOURS_WORTH_PROCESSES", 10**9)
    with pytest.raises(StoreError, match="disk is full"):
        analyse(filled)


def test_a_pump_that_fails_in_a_process_of_its_own_comes_back_as_an_answer(
    filled: Source, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (task, *_) = site_pass.tasks_of(filled.site, filled.store, filled.api_store)
    monkeypatch.setattr(site_pass, "look_again", failing(HEALTHY, ZeroDivisionError()))
    answer = site_pass.look_elsewhere(filled.site.database_url, task)
    assert isinstance(answer, site_pass.FailedPump)
