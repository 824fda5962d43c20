"""A field check at a terminal: cautions first, what is missing is asked for, and one line for a mistake."""

from __future__ import annotations

import argparse
import json
import os
import pty
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from api.commands import OK, Refusal, field_check_command
from dashboards.wording.cautions import ALWAYS, CAUTIONS

PUMP = "Hot tub"
SHEET = """
rated_speed_rpm = 2900
data_sheet = [
  { flow_m3h = 0, head_m = 20.184 }, { flow_m3h = 10, head_m = 18.984 },
  { flow_m3h = 20, head_m = 15.384 }, { flow_m3h = 30, head_m = 9.384 },
]
"""
GAUGES = (
    "--suction", "7.25 psi", "--discharge", "22.1 psi", "--suction-height", "0.4 m", "--discharge-height",
    "0.4 m", "--span", "60 psi", "--one-gauge", "--speed", "2400 rpm", "--at", "2026-07-10T10:00Z",
)  # fmt: skip
PIPES = ("--suction-pipe", "80 mm", "--discharge-pipe", "80 mm")
AT_DUTY = (*GAUGES, *PIPES, "--flow", "70.4 gpm")


def run(site: Path, *words: str, pump: str = PUMP) -> int:
    parser = argparse.ArgumentParser()
    field_check_command.add_arguments(parser)
    return field_check_command.run(parser.parse_args([pump, "--site", str(site), *words]))


@pytest.fixture
def site(analysed_folder: Path, tmp_path: Path) -> Path:
    shutil.copytree(analysed_folder, tmp_path / "site")
    path = tmp_path / "site" / "site.toml"
    text = path.read_text(encoding="utf-8").replace(f'name = "{PUMP}"\n', f'name = "{PUMP}"\n{SHEET}')
    path.write_text(text, encoding="utf-8")
    return path


def listed(site: Path, capsys: pytest.CaptureFixture[str]) -> list[dict[str, object]]:
    capsys.readouterr()
    run(site, "--list", "--json")
    found: list[dict[str, object]] = json.loads(capsys.readouterr().out)
    return found


def test_a_check_is_told_in_the_sites_units_with_what_next(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # By hand: (22.1 - 7.25) psi = 102 387 Pa; over 998.2 * 9.80665 N/m3: 10.459 m, pipes and heights alike.
    # The sheet at 2400 rpm and 70.4 gpm = 15.99 m3/h: 2.4e-6 * 2400² - 0.012 * 15.99² = 10.756 m. -2.8 %.
    assert run(site, *AT_DUTY) == OK
    told = capsys.readouterr().out.splitlines()
    assert told[0] == f"{PUMP}: field check 1, 10 July 2026 11:00:00 WEST (technician)"
    assert told[1].startswith("  Total head 10.5\N{NO-BREAK SPACE}m (")
    assert told[2].startswith("  Head is −3\N{NO-BREAK SPACE}% (")
    assert "no loss is shown" in told[2]


def test_cautions_come_first_and_not_into_the_data(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(site, *AT_DUTY, "--json")
    shown = capsys.readouterr()
    said = shown.err.splitlines()
    assert f"owncurve: {CAUTIONS['hot_pressure']}" in said
    assert said[-1] == f"owncurve: {ALWAYS}"
    assert CAUTIONS["shutoff_limit"] not in shown.err
    assert json.loads(shown.out)["head_m"] == pytest.approx(10.459, abs=0.002)


def test_a_shutoff_test_has_its_own_cautions_before_all_others(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(site, *GAUGES, "--shutoff")
    said = capsys.readouterr().err.splitlines()
    assert said[:2] == [f"owncurve: {CAUTIONS[code]}" for code in ("shutoff_limit", "pressure_rises")]
    assert f"owncurve: {CAUTIONS['automatic_restart']}" in said


def test_a_shutoff_test_needs_no_pipes(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(site, *GAUGES, "--shutoff")
    (check,) = listed(site, capsys)
    assert (check["flow_m3h"], check["flow_from"]) == (0.0, "shutoff")


def test_checks_are_listed_and_none_says_so(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(site, "--list") == OK
    assert capsys.readouterr().out == f"{PUMP}: no field check yet\n"
    run(site, *AT_DUTY)
    assert [check["check_id"] for check in listed(site, capsys)] == [1]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((), "--suction: is missing: nothing was measured"),
        (("--suction", "12"), "--suction: '12' has no unit"),
        ((*AT_DUTY, "--grade", "E"), "--grade: 'E' is no grade"),
        ((*AT_DUTY, "--shutoff"), "--flow: is not zero"),
        (("--list", "--flow", "1 gpm"), "--list records nothing"),
    ],
)
def test_a_mistake_is_one_line_that_names_its_option_and_nothing_is_kept(
    site: Path, words: tuple[str, ...], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(Refusal) as refusal:
        run(site, *words)
    assert sentence in str(refusal.value)
    assert "\n" not in str(refusal.value)
    assert listed(site, capsys) == []


def test_a_pump_that_is_not_there_is_named_with_the_nearest(site: Path) -> None:
    with pytest.raises(Refusal, match="did you mean 'Hot tub'"):
        run(site, *AT_DUTY, pump="Hot tup")


def test_at_a_terminal_what_is_missing_is_asked_for(site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ours, theirs = pty.openpty()
    words = ["field-check", PUMP, "--site", str(site), "--flow", "70.4 gpm", "--span", "60 psi"]
    words += ["--discharge", "22.1 psi", "--speed", "2400 rpm", "--at", "2026-07-10T10:00Z"]
    done = subprocess.Popen(
        [sys.executable, "-m", "api", *words], stdin=theirs, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    os.close(theirs)
    try:
        os.write(ours, b"7.25 psi\n0.4 m\n0.4 m\n80 mm\n80 mm\n")
        out, err = done.communicate(timeout=60)
    finally:
        os.close(ours)
    assert (done.returncode, b"Gauge at suction, as in" in err, b"Gauge at discharge" in err) == (
        0,
        True,
        False,
    )
    assert b"Total head 10.5" in out
    (check,) = listed(site, capsys)
    assert check["head_m"] == pytest.approx(10.459, abs=0.002)
