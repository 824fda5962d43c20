"""``owncurve week``: a week in words, and as files that other programs open."""

from __future__ import annotations

import csv
import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import openpyxl
import pyarrow.parquet
import pytest

from api.answers.week_sheet import Sheet
from api.commands.sheet_files import csv_cell, write_sheet

ROOT = Path(__file__).parents[3]
HOSTILE = ("=1+1", "+cmd", "@x", "-1", "\tx")


@pytest.fixture
def site(analysed_folder: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "site"
    shutil.copytree(analysed_folder, folder)
    return folder / "site.toml"


def week(site: Path, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "api", "week", "--site", str(site), *words]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False, timeout=120)


def test_the_newest_whole_week_is_told_in_words_with_its_why(site: Path) -> None:
    done = week(site)
    assert (done.returncode, done.stderr) == (0, "")
    lines = done.stdout.splitlines()
    assert lines[0] == "Week 2026-W27, 2026-06-29 to 2026-07-05 (Europe/Lisbon, 168 hours)"
    assert lines[1].startswith("All pumps: ")
    assert any(line.startswith("  Against the week before: ") for line in lines)
    assert any("Head below its own curve: " in line and "EUR" in line for line in lines)


@pytest.mark.parametrize("words", ["2026-W24", "2026-w24", "2026-06-08", "2026-06-14"])
def test_a_week_is_named_by_its_number_or_any_of_its_days(site: Path, words: str) -> None:
    assert "Week 2026-W24, 2026-06-08 to 2026-06-14" in week(site, "--week", words).stdout


@pytest.mark.parametrize("words", ["2026-W54", "2026-W", "24", "2026-13-01", "last", "2026-W1x"])
def test_what_is_no_week_is_refused_in_one_line(site: Path, words: str) -> None:
    done = week(site, "--week", words)
    assert (done.returncode, done.stdout) == (2, "")
    (line,) = done.stderr.splitlines()
    assert f"--week {words}: expected a week such as 2026-W46" in line


def test_a_week_without_readings_is_refused_in_one_line(site: Path) -> None:
    done = week(site, "--week", "2025-W01")
    assert (done.returncode, done.stderr) == (2, "owncurve: --week 2025-W01: there are no readings in it\n")


def test_a_week_that_is_not_over_says_so_and_makes_no_year_of_itself(site: Path) -> None:
    told = week(site, "--week", "2026-W28", "--pump", "Lap <b>pool</b> 2").stdout
    assert "part only" in told
    assert "in such a week" in told
    assert "a year" not in told


def test_programs_get_the_parts_and_they_add_up(site: Path) -> None:
    answers = json.loads(week(site, "--json").stdout)
    assert [each["pump"] for each in answers] == ["All pumps", "Lap pool 1", "Lap <b>pool</b> 2", "Hot tub"]
    for each in answers:
        before = each["why"][0]
        change = before["now_kwh_per_m3"] - before["before_kwh_per_m3"]
        assert sum(before["parts_kwh_per_m3"].values()) == pytest.approx(change, abs=1e-12)


def rows_of_csv(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.reader(file))


def test_the_three_kinds_of_file_hold_the_same(site: Path, tmp_path: Path) -> None:
    files = {kind: tmp_path / f"week.{kind}" for kind in ("csv", "xlsx", "parquet")}
    done = week(site, "--all", *(word for kind, path in files.items() for word in (f"--{kind}", str(path))))
    assert (done.returncode, done.stderr) == (0, "")
    titles, *rows = rows_of_csv(files["csv"])
    page = openpyxl.load_workbook(files["xlsx"]).active
    of_xlsx = [[csv_cell(value) for value in row] for row in page.iter_rows(values_only=True)]
    table = pyarrow.parquet.read_table(files["parquet"])
    of_parquet = [[csv_cell(row[name]) for name in titles] for row in table.to_pylist()]
    assert of_xlsx == [titles, *rows]
    assert (table.column_names, of_parquet) == (titles, rows)
    assert len(rows) == 3 * 6


def test_units_stand_in_the_titles_and_times_are_iso(site: Path, tmp_path: Path) -> None:
    week(site, "--csv", str(tmp_path / "a.csv"))
    titles, first, *_ = rows_of_csv(tmp_path / "a.csv")
    assert {"Energy, kWh", "Volume, m³", "Energy per volume, kWh/m³", "Mean head, m", "Running, h"} <= set(
        titles
    )
    assert first[1:3] == ["2026-06-29T00:00:00+01:00", "2026-07-06T00:00:00+01:00"]


def test_what_no_counter_knew_is_an_empty_cell(site: Path, tmp_path: Path) -> None:
    week(site, "--csv", str(tmp_path / "a.csv"))
    titles, first, *_ = rows_of_csv(tmp_path / "a.csv")
    assert first[titles.index("Energy by the drive's counter, kWh")] == ""


def sheet_of(*names: str) -> Sheet:
    return Sheet(titles=("Pump", "Energy, kWh"), rows=tuple((name, -1.5) for name in names))


def test_a_name_that_looks_like_a_formula_stays_text_in_a_spreadsheet(tmp_path: Path) -> None:
    write_sheet(sheet_of(*HOSTILE), "xlsx", tmp_path / "a.xlsx")
    cells = [row[0] for row in openpyxl.load_workbook(tmp_path / "a.xlsx").active.iter_rows(min_row=2)]
    assert [(cell.value, cell.data_type) for cell in cells] == [(name, "s") for name in HOSTILE]


def test_a_name_that_looks_like_a_formula_stays_text_in_csv(tmp_path: Path) -> None:
    write_sheet(sheet_of(*HOSTILE), "csv", tmp_path / "a.csv")
    assert [row[0] for row in rows_of_csv(tmp_path / "a.csv")[1:]] == [f"'{name}" for name in HOSTILE]
    assert [row[1] for row in rows_of_csv(tmp_path / "a.csv")[1:]] == ["-1.5"] * len(HOSTILE)


def test_numbers_are_numbers_in_a_spreadsheet(tmp_path: Path) -> None:
    write_sheet(sheet_of("P1"), "xlsx", tmp_path / "a.xlsx")
    assert openpyxl.load_workbook(tmp_path / "a.xlsx").active["B2"].value == -1.5


def test_a_file_that_cannot_be_written_is_one_line_and_a_failure(site: Path, tmp_path: Path) -> None:
    done = week(site, "--csv", str(tmp_path / "nowhere" / "a.csv"))
    assert done.returncode == 1
    (line,) = done.stderr.splitlines()
    assert "nowhere" in line


def test_without_its_library_a_kind_of_file_is_refused_in_one_line(site: Path, tmp_path: Path) -> None:
    program = (
        "import sys; sys.modules['openpyxl'] = None; from api.commands import main; "
        f"sys.exit(main(['week', '--site', {str(site)!r}, '--xlsx', {str(tmp_path / 'a.xlsx')!r}]))"
    )
    done: Any = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120
    )
    assert (done.returncode, "owncurve[export]" in done.stderr) == (2, True)
    assert len(done.stderr.splitlines()) == 1
    assert not (tmp_path / "a.xlsx").exists()


def test_all_weeks_go_into_files_alone(site: Path) -> None:
    done = week(site, "--all")
    assert (done.returncode, len(done.stderr.splitlines())) == (2, 1)
