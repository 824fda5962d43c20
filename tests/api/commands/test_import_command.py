"""``owncurve import``: one line for what is wrong, a short report for what was done."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from collector.store import open_store

ROOT = Path(__file__).parents[3]
SITE = """
[site]
name = "Harbour baths"
time_zone = "Europe/Lisbon"

[[pump]]
name = "P01"
[[pump]]
name = "P02"
"""
LOG = "Time,CHW flow,head_m\n2026-07-01 12:00,100,6.5\n2026-07-01 12:01,101,6.6\nsoon,1,1\n"
MAPPED = ("--tz", "Europe/Lisbon", "--column", "flow_m3h=CHW flow:gpm")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8")
    return tmp_path


def owncurve(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "api", *words],
        cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_a_log_is_imported_and_reported(folder: Path) -> None:
    done = owncurve(folder, "import", "P01", "log.csv", *MAPPED)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines() == [
        "P01: 2 new readings from log.csv (0 were there already, 1 row set aside)",
        "  from 2026-07-01T12:00:00+01:00 to 2026-07-01T12:01:00+01:00",
        "  columns: flow_m3h=CHW flow, head_m=head_m",
        "  line 4 set aside: the time 'soon' cannot be read",
        "  owncurve import --undo 1 takes it back",
        "  owncurve analyse takes it in, or by itself an owncurve run of this site",
    ]


def test_the_readings_are_in_the_file_beside_the_site_file(folder: Path) -> None:
    owncurve(folder, "import", "P01", "log.csv", *MAPPED)
    store = open_store(f"sqlite:///{folder / 'site.sqlite'}")
    try:
        assert [row[1] for row in store.rows("P01", 0, 10**15, ["head_m"])] == [6.5, 6.6]
    finally:
        store.close()


def test_the_report_as_json_has_the_same_numbers(folder: Path) -> None:
    done = owncurve(folder, "import", "P01", "log.csv", "--json", *MAPPED)
    said = json.loads(done.stdout)
    assert (said["rows_new"], said["rows_duplicate"], said["rows_set_aside"]) == (2, 0, 1)
    assert (said["first_utc"], said["set_aside"][0]["line"]) == ("2026-07-01T11:00:00Z", 4)


def test_the_second_time_says_that_all_was_there(folder: Path) -> None:
    owncurve(folder, "import", "P01", "log.csv", *MAPPED)
    done = owncurve(folder, "import", "P01", "log.csv", *MAPPED)
    assert "0 new readings from log.csv (2 were there already" in done.stdout


def test_cells_that_are_no_number_are_told_by_column_and_line(folder: Path) -> None:
    log = "time,Flow,head_m\n" + "".join(
        f"2026-07-01T12:{minute}Z,{minute},6.5\n" for minute in range(10, 14)
    )
    (folder / "log.csv").write_text(log.replace("Z,12,", "Z,stuck,"), encoding="utf-8")
    done = owncurve(folder, "import", "P01", "log.csv", "--column", "flow_m3h=Flow")
    assert "  column 'Flow': 1 of 4 cells are no number, first at line 4: 'stuck'; no value" in done.stdout


def test_rows_that_contradict_stored_readings_are_told(folder: Path) -> None:
    owncurve(folder, "import", "P01", "log.csv", *MAPPED)
    (folder / "log.csv").write_text(LOG.replace("6.6", "9.9"), encoding="utf-8")
    done = owncurve(folder, "import", "P01", "log.csv", *MAPPED)
    assert "  1 row contradicts stored readings at the same instant; the stored ones stay" in done.stdout
    assert "owncurve analyse" not in done.stdout


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("P001", "log.csv", *MAPPED), "site.toml has no pump 'P001'; did you mean 'P01'"),
        (("P01", "nowhere.csv", *MAPPED), "nowhere.csv: cannot be read"),
        (("P01", "log.csv"), "log.csv, line 2: the time '2026-07-01 12:00' has no offset from UTC; add --tz"),
        (("P01", "log.csv", "--site", "other.toml"), "other.toml: cannot be read"),
        (
            ("P01", "log.csv", "--column", "flow_m3h=CHW flow:psi"),
            "flow_m3h cannot be in 'psi'; allowed: m3/h",
        ),
        (("P01", "log.csv", "--column", "nonsense"), 'expected "quantity=header"'),
    ],
)
def test_what_is_wrong_is_one_line_and_exit_code_2(
    folder: Path, words: tuple[str, ...], complaint: str
) -> None:
    done = owncurve(folder, "import", *words)
    assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1)
    assert done.stderr.startswith("owncurve: ")
    assert complaint in done.stderr


def test_a_database_that_is_none_is_one_line_and_exit_code_1(folder: Path) -> None:
    (folder / "site.sqlite").write_text("my notes", encoding="utf-8")
    done = owncurve(folder, "import", "P01", "log.csv", *MAPPED)
    assert (done.returncode, len(done.stderr.splitlines())) == (1, 1)
    assert "is not a database" in done.stderr
    assert (folder / "site.sqlite").read_text(encoding="utf-8") == "my notes"


@pytest.mark.skipif(sys.platform == "win32", reason="there is no pseudo-terminal on Windows")
def test_a_terminal_is_shown_how_far_it_is(folder: Path) -> None:
    rows = "".join(f"{1_767_225_600 + second},{second % 9}\n" for second in range(150_000))
    (folder / "long.csv").write_text("time,head_m\n" + rows, encoding="utf-8")
    ours, theirs = pty.openpty()
    words = [sys.executable, "-m", "api", "import", "P01", "long.csv", "--time-format", "unix_s"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    subprocess.run(words, cwd=folder, env=environment, stdout=subprocess.DEVNULL, stderr=theirs, check=True)
    os.close(theirs)
    shown = os.read(ours, 10_000).decode()
    os.close(ours)
    assert "% of the file read" in shown
