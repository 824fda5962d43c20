"""The first line of ``owncurve findings`` and of the site's page, on real databases."""

# ruff: noqa: ANN401 - the small site makes readings of any kind

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from api.analysis.site_pass import analyse_site
from api.answers.pages import site_page
from api.answers.pump_row import pump_row
from api.answers.source import Source
from api.commands import OK, findings_command, main
from collector.clock import Clock
from dashboards.pages import site_page as site_html
from dashboards.pages.attention import headline

PUMP, WORN = "Lap pool 1", "Lap <b>pool</b> 2"
START_MS, HOUR_MS, DAY_MS = 1_780_272_000_000, 3_600_000, 86_400_000
DAY = 288


def first_line(
    source: Source, capsys: pytest.CaptureFixture[str], *words: str, clock: Clock | None = None
) -> str:
    parser = argparse.ArgumentParser()
    findings_command.add_arguments(parser)
    site: Path = source.site.path
    time = (clock or source.clock).as_text()
    assert findings_command.run(parser.parse_args(["--site", str(site), "--clock", time, *words])) == OK
    return capsys.readouterr().out.splitlines()[0]


def analyse(source: Source) -> None:
    analyse_site(source.site, source.store, source.api_store, source.clock)


def test_a_site_without_a_reading(
    new_site: Callable[[str], Source], capsys: pytest.CaptureFixture[str]
) -> None:
    assert first_line(new_site("empty"), capsys) == "No readings yet of 4 pumps."


def test_readings_that_were_not_analysed(
    new_site: Callable[[str], Source], small_site: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    source = new_site("raw")
    source.store.append(small_site.readings(PUMP, 0, DAY, seed=1))
    assert "run owncurve analyse" in first_line(source, capsys, "--pump", PUMP)


def test_one_day_of_readings_is_too_little_to_judge(
    new_site: Callable[[str], Source], small_site: Any, capsys: pytest.CaptureFixture[str]
) -> None:
    source = new_site("young")
    source.store.append(small_site.readings(PUMP, 0, DAY, seed=1))
    analyse(source)
    expected = "1 pump: it can't be judged yet (own curves need about 4 days of readings)."
    an_hour_later = Clock(simulated_start_ms=START_MS + 25 * HOUR_MS, real_start_ms=0, speed_up=1e-9)
    assert first_line(source, capsys, "--pump", PUMP, clock=an_hour_later) == expected


def test_readings_that_ended_long_ago_are_never_called_now(
    analysed: Source, capsys: pytest.CaptureFixture[str]
) -> None:
    later = Clock(simulated_start_ms=START_MS + (40 + 35) * DAY_MS, real_start_ms=0, speed_up=1e-9)
    line = first_line(analysed, capsys, "--pump", PUMP, clock=later)
    assert line == "No readings for 35 days. As it was then: nothing to act on was found in 1 pump."


def test_a_finding_of_old_readings_stands_as_of_their_end(
    analysed: Source, capsys: pytest.CaptureFixture[str]
) -> None:
    later = Clock(simulated_start_ms=START_MS + (40 + 35) * DAY_MS, real_start_ms=0, speed_up=1e-9)
    words = ["--site", str(analysed.site.path), "--clock", later.as_text(), "--pump", WORN]
    main(["findings", *words])
    first, finding, *_ = capsys.readouterr().out.splitlines()
    assert first == "No readings for 35 days. As it was then: 1 of 1 pump needs attention."
    assert "(soon, as of 11\xa0July)" in finding
    main(["findings", *words, "--json"])
    assert not any(each["is_seen_now"] for each in json.loads(capsys.readouterr().out)["findings"])


def test_one_pump_without_readings_lately_is_named_beside_the_others(
    analysed: Source, small_site: Any
) -> None:
    later = Clock(simulated_start_ms=START_MS + 42 * DAY_MS, real_start_ms=0, speed_up=1e-9)
    analysed.store.append(small_site.readings(PUMP, 40 * DAY, 2 * DAY, seed=1))
    analyse(analysed)
    page = site_page(replace(analysed, clock=later))
    assert [row.state for row in page.pumps] == ["running", "old", "old", "no_data"]
    assert "2 have had no readings for 2 days or more" in headline(page.pumps)
    html = site_html(page)
    assert html.count("No readings for 2 days") == 2
    assert "as of 11\xa0July" in html


@pytest.mark.parametrize(("hours", "is_old"), [(23.9, False), (24.1, True)])
def test_readings_are_old_from_a_day_on(analysed: Source, hours: float, is_old: bool) -> None:
    end = analysed.store.span(PUMP)
    assert end is not None
    clock = Clock(simulated_start_ms=end[1] + round(hours * HOUR_MS), real_start_ms=0, speed_up=1e-9)
    row = pump_row(replace(analysed, clock=clock), analysed.site.pump(PUMP))
    assert (row.state == "old", row.old_s > 0) == (is_old, is_old)


def test_a_site_file_that_says_other_things_since_the_last_analysis_is_mentioned(
    analysed: Source, capsys: pytest.CaptureFixture[str]
) -> None:
    path = analysed.site.path
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('location = "cellar"', "head_loss_notice_pct = 2"), encoding="utf-8")
    line = first_line(analysed, capsys, "--pump", PUMP)
    assert "stated otherwise in the site file" in line
    assert "run owncurve analyse" in line


def test_a_pump_that_has_left_the_site_file_is_said_so_and_not_listed_as_now(
    analysed: Source, capsys: pytest.CaptureFixture[str]
) -> None:
    path = analysed.site.path
    path.write_text(path.read_text(encoding="utf-8").replace(f'"{WORN}"', '"Renamed"'), encoding="utf-8")
    words = ["--site", str(path), "--clock", analysed.clock.as_text()]
    assert main(["findings", *words]) == OK
    *_, last = capsys.readouterr().out.splitlines()
    assert last.startswith(f"{WORN} has left the site file; its readings and findings are kept")
    main(["findings", *words, "--json"])
    answer = json.loads(capsys.readouterr().out)
    assert answer["pumps_not_in_site_file"] == [WORN]
    assert not any(each["is_seen_now"] for each in answer["findings"] if each["pump"] == WORN)
    assert main(["findings", *words, "--pump", WORN]) == 2
    assert "has left the site file" in capsys.readouterr().err


def test_a_quiet_pump_is_called_quiet_only_once_it_is_judged(
    analysed: Source, capsys: pytest.CaptureFixture[str]
) -> None:
    assert first_line(analysed, capsys, "--pump", PUMP) == "Nothing to act on was found in 1 pump."


def test_a_pump_that_can_never_be_judged_is_said_so(
    analysed: Source, capsys: pytest.CaptureFixture[str]
) -> None:
    words = first_line(analysed, capsys, "--pump", "Hot tub")
    assert words == "1 pump: it can't be judged for wear."


@pytest.mark.parametrize(("first_row", "rows"), [(40 * DAY, 1), (39 * DAY + 287, 1), (-DAY, 12)])
def test_analysis_is_behind_from_the_first_row_that_it_has_not_seen(
    analysed: Source, small_site: Any, first_row: int, rows: int
) -> None:
    pump = analysed.site.pump(PUMP)
    assert pump_row(analysed, pump).is_analysed
    more = [
        item.__class__(pump=PUMP, time_utc_ms=item.time_utc_ms + 1000, speed_rpm=item.speed_rpm)
        for item in small_site.readings(PUMP, max(first_row, 0), rows, seed=1)
    ]
    analysed.store.append(more)
    assert not pump_row(analysed, pump).is_analysed
    analyse(analysed)
    assert pump_row(analysed, pump).is_analysed
