"""``owncurve upkeep`` tells what is due in lines a person can act on, and suggests without deciding."""

from __future__ import annotations

import argparse
import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from api.commands import OK, Refusal, upkeep_command
from collector.site import load_site

TASKS = """
[[upkeep]]
kind = "greasing"
pumps = ["Lap pool 1"]
every_run_h = 900
bearings = [{ place = "drive end", outside_mm = 80, width_mm = 18 }]
"""


@pytest.fixture
def site(analysed_folder: Path, tmp_path: Path) -> Path:
    shutil.copytree(analysed_folder, tmp_path / "site")
    return tmp_path / "site" / "site.toml"


@pytest.fixture
def site_with_tasks(site: Path) -> Path:
    site.write_text(site.read_text(encoding="utf-8") + TASKS, encoding="utf-8")
    return site


def run(site: Path, small_site: Any, *words: str) -> int:  # noqa: ANN401
    parser = argparse.ArgumentParser()
    upkeep_command.add_arguments(parser)
    clock = small_site.clock_at_end().as_text()
    return upkeep_command.run(parser.parse_args(["--site", str(site), "--clock", clock, *words]))


def test_a_line_says_what_is_due_where_and_how_much_grease(
    site_with_tasks: Path,
    small_site: Any,  # noqa: ANN401
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(site_with_tasks, small_site) == OK
    line, rule = capsys.readouterr().out.splitlines()
    assert line == (
        "Due: Lap pool 1, Grease the bearings: 959 of 900 run hours; never recorded; counted from the first "
        "reading, 1 June; about 7.2 g (drive end)"
    )
    assert "common practice" in rule
    assert "manual" in rule


def test_the_same_as_json(
    site_with_tasks: Path,
    small_site: Any,  # noqa: ANN401
    capsys: pytest.CaptureFixture[str],
) -> None:
    run(site_with_tasks, small_site, "--json")
    (row,) = json.loads(capsys.readouterr().out)
    assert (row["pump"], row["state"], row["grease"][0]["place"]) == ("Lap pool 1", "due", "drive end")


def test_a_pump_without_a_task_is_said(
    site_with_tasks: Path,
    small_site: Any,  # noqa: ANN401
    capsys: pytest.CaptureFixture[str],
) -> None:
    run(site_with_tasks, small_site, "--pump", "Hot tub")
    assert capsys.readouterr().out == "no task of the site file is for this pump\n"


def test_a_site_without_tasks_is_told_how_to_begin(
    site: Path,
    small_site: Any,  # noqa: ANN401
    capsys: pytest.CaptureFixture[str],
) -> None:
    run(site, small_site)
    assert "owncurve upkeep --suggest" in capsys.readouterr().out


def test_a_pump_that_is_not_there_is_refused(site_with_tasks: Path, small_site: Any) -> None:  # noqa: ANN401
    with pytest.raises(Refusal, match="did you mean 'Hot tub'"):
        run(site_with_tasks, small_site, "--pump", "Hot tubb")


def suggested(capsys: pytest.CaptureFixture[str], small_site: Any, site: Path) -> str:  # noqa: ANN401
    run(site, small_site, "--suggest")
    return capsys.readouterr().out


def test_what_is_suggested_changes_nothing_as_it_stands(
    site: Path,
    small_site: Any,  # noqa: ANN401
    capsys: pytest.CaptureFixture[str],
) -> None:
    text = suggested(capsys, small_site, site)
    site.write_text(site.read_text(encoding="utf-8") + text, encoding="utf-8")
    assert load_site(site).upkeep == ()
    assert "common practice" in text
    assert "manuals come first" in text


def test_what_is_suggested_is_right_once_its_marks_are_taken_away(
    site: Path,
    small_site: Any,  # noqa: ANN401
    capsys: pytest.CaptureFixture[str],
) -> None:
    text = suggested(capsys, small_site, site)
    _, tasks = text.split("\n\n", 1)
    site.write_text(site.read_text(encoding="utf-8") + tasks.replace("# ", ""), encoding="utf-8")
    assert len(load_site(site).upkeep) == 8


def test_to_suggest_needs_no_site(
    tmp_path: Path,
    small_site: Any,  # noqa: ANN401
) -> None:
    assert run(tmp_path / "none.toml", small_site, "--suggest") == OK
