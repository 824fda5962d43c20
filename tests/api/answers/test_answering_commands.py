"""The commands that print answers: for programs as JSON, for people as text, for tables as CSV."""

from __future__ import annotations

import argparse
import csv
import io
import json
import shutil
from pathlib import Path
from types import ModuleType

import pytest

from api.answers.findings import listed_findings
from api.answers.source import Source
from api.answers.weeks import listed_weeks
from api.commands import OK, Refusal, analyse_command, energy_command, findings_command

WORN = "Lap <b>pool</b> 2"


def run(command: ModuleType, site: Path, *words: str) -> int:
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    return int(command.run(parser.parse_args(["--site", str(site), *words])))


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
    headline, finding = capsys.readouterr().out.splitlines()
    assert headline == "1 of 1 pump needs attention."
    assert finding.startswith(f"{WORN}: ")
    assert "below this pump's own curve" in finding


def test_no_finding_is_said_too(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(findings_command, site, "--pump", "Lap pool 1")
    assert capsys.readouterr().out == "Nothing to act on was found in 1 pump.\n"


def test_energy_as_json_is_that_of_the_pages(
    analysed: Source, site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(energy_command, site, "--json") == OK
    assert json.loads(capsys.readouterr().out) == listed_weeks(analysed)


def test_energy_as_csv_has_units_in_its_header_and_a_row_a_week(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(energy_command, site, "--pump", "Lap pool 1")
    header, *rows = csv.reader(io.StringIO(capsys.readouterr().out))
    assert {"energy_kwh", "volume_m3", "kwh_per_m3", "running_h"} <= set(header)
    assert len(rows) == 6


@pytest.mark.parametrize("name", ["=1+1", "+cmd", "@x", "-1"])
def test_a_name_that_looks_like_a_formula_stays_text(name: str) -> None:
    assert energy_command._cell(name) == f"'{name}"


def test_a_negative_number_stays_a_number() -> None:
    assert energy_command._cell(-1.5) == "-1.5"


@pytest.mark.parametrize("command", [findings_command, energy_command])
def test_a_pump_that_is_not_there_is_named_with_the_nearest(command: ModuleType, site: Path) -> None:
    with pytest.raises(Refusal, match="Lap pool 1"):
        run(command, site, "--pump", "Lap pol 1")


def test_analyse_says_what_it_did(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(analyse_command, site, "--json") == OK
    assert json.loads(capsys.readouterr().out) == {"pumps": 0, "hours": 0, "changed_findings": 0}


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
