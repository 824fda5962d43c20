"""The first line of ``owncurve findings`` and of the site's page, on real databases."""

# ruff: noqa: ANN401 - the small site makes readings of any kind

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from api.analysis.site_pass import analyse_site
from api.answers.pump_row import pump_row
from api.answers.source import Source
from api.commands import OK, findings_command

PUMP = "Lap pool 1"
DAY = 288


def first_line(source: Source, capsys: pytest.CaptureFixture[str], *words: str) -> str:
    parser = argparse.ArgumentParser()
    findings_command.add_arguments(parser)
    site: Path = source.site.path
    assert findings_command.run(parser.parse_args(["--site", str(site), *words])) == OK
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
    assert first_line(source, capsys, "--pump", PUMP) == expected


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
