"""The commands that print answers: for programs as JSON, for people as text, for tables as CSV."""

from __future__ import annotations

import argparse
import csv
import io
import json
import shutil
from contextlib import closing
from pathlib import Path
from types import ModuleType

import pytest

from api.analysis.site_pass import AnalysisReport
from api.answers.findings import listed_findings
from api.answers.source import Source, open_source
from api.answers.weeks import listed_weeks
from api.commands import OK, Refusal, analyse_command, energy_command, findings_command
from collector.clock import Clock

WORN = "Lap <b>pool</b> 2"


START_MS, DAY_MS = 1_780_272_000_000, 86_400_000
AT_THE_END = Clock(simulated_start_ms=START_MS + 40 * DAY_MS, real_start_ms=0, speed_up=1e-9).as_text()


def run(command: ModuleType, site: Path, *words: str) -> int:
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    clock = ["--clock", AT_THE_END] if command is findings_command else []
    return int(command.run(parser.parse_args(["--site", str(site), *clock, *words])))


@pytest.fixture
def site(analysed_folder: Path, tmp_path: Path) -> Path:
    shutil.copytree(analysed_folder, tmp_path / "site")
    return tmp_path / "site" / "site.toml"


def test_findings_as_json_are_those_of_the_pages(
    analysed: Source, site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(findings_command, site, "--json") == OK
    assert json.loads(capsys.readouterr().out) == listed_findings(analysed)


def test_findings_as_text_name_the_pump_and_the_loss(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(findings_command, site, "--active", "--pump", WORN)
    headline, finding, *more = capsys.readouterr().out.splitlines()
    assert headline == "1 of 1 pump needs attention."
    assert finding.startswith(f"{WORN}: ")
    assert "below this pump's own curve" in finding
    told = "\n".join(more)
    assert "of running hours could be judged." in told
    assert "Power" in told
    assert "  Next, 1: Read one and the same gauge" in told
    assert "  Caution: " in told
    assert told.index("Caution: ") < told.index("Next, 1")


def test_a_pump_that_cannot_be_judged_is_told_why_and_what_to_do(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(findings_command, site, "--active", "--pump", "Hot tub")
    told = capsys.readouterr().out
    assert "Until that is cleared up" in told or "Not assessable from this telemetry" in told
    assert "Next, 1: " in told


def test_no_finding_is_said_too(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(findings_command, site, "--pump", "Lap pool 1")
    assert capsys.readouterr().out.splitlines()[0] == "Nothing to act on was found in 1 pump."


def test_what_is_not_watched_for_one_reason_is_said_once_for_all_pumps_it_holds_for(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(findings_command, site)
    told = [line for line in capsys.readouterr().out.splitlines() if "a speed that swings" in line]
    assert len(told) == 1
    assert told[0].split(": Not watched")[0] in ("All 4 pumps", "Lap pool 1, Lap <b>pool</b> 2 and Hot tub")


def test_what_is_not_watched_is_said_beside_it_and_to_programs(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(findings_command, site, "--pump", "Lap pool 1")
    assert "Lap pool 1: Not watched: a speed that swings" in capsys.readouterr().out
    run(findings_command, site, "--pump", "Lap pool 1", "--json")
    (item,) = json.loads(capsys.readouterr().out)["not_watched"]
    assert (item["kinds"], item["because"]) == (["hunting"], "readings_too_far_apart")


def test_energy_as_json_is_that_of_the_pages(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(energy_command, site, "--json") == OK
    with closing(open_source(site)) as source:
        assert json.loads(capsys.readouterr().out) == listed_weeks(source)


def test_energy_as_csv_has_units_in_its_header_and_a_row_a_week(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(energy_command, site, "--pump", "Lap pool 1")
    header, *rows = csv.reader(io.StringIO(capsys.readouterr().out))
    assert {"Energy, kWh", "Volume, m³", "Energy per volume, kWh/m³", "Cost, EUR", "Running, h"} <= set(
        header
    )
    assert len(rows) == 6
    assert len({len(row) for row in [header, *rows]}) == 1


def test_the_last_week_of_the_csv_is_marked_as_a_part_and_says_its_share(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(energy_command, site, "--pump", "Lap pool 1")
    weeks = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    # Readings of 40 days from a Monday on: five whole weeks, and five days of the sixth.
    assert [week["Part only"] for week in weeks] == ["no"] * 5 + ["yes"]
    assert float(weeks[-1]["Share with readings, %"]) == pytest.approx(100 * 5 / 7, abs=1)


def test_weeks_of_the_csv_begin_at_local_midnight_as_local_time(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(energy_command, site, "--pump", "Lap pool 1")
    first = next(iter(csv.DictReader(io.StringIO(capsys.readouterr().out))))
    assert first["Week from (Europe/Lisbon)"] == "2026-06-01T00:00:00+01:00"


def test_the_csv_follows_the_sites_units(
    analysed: Source, site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site.write_text(site.read_text(encoding="utf-8").replace('"SI"', '"US"'), encoding="utf-8")
    run(energy_command, site, "--pump", "Lap pool 1")
    week = next(iter(csv.DictReader(io.StringIO(capsys.readouterr().out))))
    si = listed_weeks(analysed, "Lap pool 1")[0]
    # 1 US gallon is 3.785411784 litres (NIST SP 811).
    assert float(week["Volume, 1000 gal"]) == pytest.approx(si["volume_m3"] / 3.785411784, rel=1e-3)
    shown = float(week["Energy per volume, kWh/1000 gal"])
    assert shown == pytest.approx(si["kwh_per_m3"] * 3.785411784, rel=5e-3)


def test_json_says_the_share_and_whether_the_week_has_ended(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(energy_command, site, "--json", "--pump", "Lap pool 1")
    weeks = json.loads(capsys.readouterr().out)
    assert {"share_with_readings", "week_has_ended"} <= weeks[0].keys()
    assert "is_complete" not in weeks[0]


def test_without_a_week_one_line_says_why(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(energy_command, site, "--pump", "Fountain") == OK
    assert capsys.readouterr().err == "owncurve: no week to show yet: there are no readings\n"


@pytest.mark.parametrize("command", [findings_command, energy_command])
def test_a_pump_that_is_not_there_is_named_with_the_nearest(command: ModuleType, site: Path) -> None:
    with pytest.raises(Refusal, match="Lap pool 1"):
        run(command, site, "--pump", "Lap pol 1")


def test_analyse_says_what_it_did(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(analyse_command, site, "--json") == OK
    said = {"pumps": 0, "hours": 0, "changed_findings": 0, "pumps_failed": []}
    assert json.loads(capsys.readouterr().out) == said


@pytest.mark.parametrize("seconds", ["0", "-1", "nan", "1e9"])
def test_following_at_a_senseless_pace_is_refused(site: Path, seconds: str) -> None:
    with pytest.raises(Refusal, match="--follow"):
        run(analyse_command, site, "--follow", seconds)


def test_a_clock_that_is_none_is_refused_in_one_line(site: Path) -> None:
    with pytest.raises(Refusal, match="clock"):
        run(analyse_command, site, "--clock", "noon")


def test_a_text_file_in_the_databases_place_is_refused(tmp_path: Path, site: Path) -> None:
    alone = tmp_path / "alone"
    alone.mkdir()
    shutil.copy(site, alone / "site.toml")
    (alone / "site.sqlite").write_text("a shopping list " * 100, encoding="utf-8")
    with pytest.raises(Refusal, match="is not a database"):
        run(findings_command, alone / "site.toml")


@pytest.mark.parametrize(
    ("pumps", "found", "words"),
    [
        (1, 1, "1 pump and 1 hour looked at; 1 finding is new or changed"),
        (2, 0, "2 pumps and 1 hour looked at; 0 findings are new or changed"),
    ],
)
def test_analyse_counts_as_people_do(pumps: int, found: int, words: str) -> None:
    report = AnalysisReport(pumps=pumps, hours=1, changed_findings=found)
    assert analyse_command._as_text(report) == words
