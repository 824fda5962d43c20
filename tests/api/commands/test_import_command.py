"""``owncurve import``: one line for what is wrong, a short report for what was done."""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from api.commands import main
from collector import trend_log
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


def write(folder: Path, name: str, columns: str, *rows: str) -> None:
    lines = [f"2026-07-01T12:{10 + number}Z,{row}" for number, row in enumerate(rows)]
    (folder / name).write_text("\n".join([f"time,{columns}", *lines]) + "\n", encoding="utf-8")


def readings(folder: Path, *columns: str) -> list[tuple[object, ...]]:
    store = open_store(f"sqlite:///{folder / 'site.sqlite'}")
    try:
        return [row[1:] for row in store.rows("P01", 0, 10**15, columns)]
    finally:
        store.close()


def test_a_file_a_point_completes_the_readings_and_is_told(folder: Path) -> None:
    write(folder, "a.csv", "speed_rpm,power_w", "1450,900", "1450,900")
    write(folder, "b.csv", "flow_m3h,head_m", "20,6", "21,6")
    owncurve(folder, "import", "P01", "a.csv")
    done = owncurve(folder, "import", "P01", "b.csv")
    assert done.stdout.splitlines()[0] == (
        "P01: 0 new readings and 2 completed from b.csv (0 were there already, 0 rows set aside)"
    )
    assert "owncurve import --undo 2 takes it back" in done.stdout
    assert readings(folder, "power_w", "flow_m3h") == [(900, 20), (900, 21)]


def test_several_files_at_once_are_joined_and_told_each(folder: Path) -> None:
    write(folder, "a.csv", "speed_rpm", "1450")
    write(folder, "b.csv", "Flow", "100")
    done = owncurve(folder, "import", "P01", "a.csv", "b.csv", "--column", "flow_m3h=Flow:L/min", "--json")
    said = [json.loads(line) for line in done.stdout.splitlines()]
    assert [(each["rows_new"], each["rows_completed"]) for each in said] == [(1, 0), (0, 1)]
    assert readings(folder, "speed_rpm", "flow_m3h") == [(1450, 6)]


def test_an_import_is_listed_undone_and_listed_as_such(folder: Path) -> None:
    write(folder, "a.csv", "speed_rpm", "1450", "1450")
    write(folder, "b.csv", "head_m", "6", "6", "6")
    owncurve(folder, "import", "P01", "a.csv", "b.csv")
    done = owncurve(folder, "import", "--undo", "2")
    assert (done.returncode, done.stdout.splitlines()[0]) == (
        0,
        "P01: import 2 (b.csv) is undone: 1 reading taken back;"
        " out of 2 others only the values that it brought",
    )
    assert readings(folder, "speed_rpm", "head_m") == [(1450, None), (1450, None)]
    first, second = owncurve(folder, "import", "--list").stdout.splitlines()
    assert (first.startswith("1  20"), first.endswith("P01, a.csv: 2 new readings")) == (True, True)
    assert "P01, b.csv: 1 new reading and 2 completed; undone 20" in second


def test_undo_and_list_as_json(folder: Path) -> None:
    write(folder, "a.csv", "speed_rpm", "1450")
    owncurve(folder, "import", "P01", "a.csv")
    assert json.loads(owncurve(folder, "import", "--undo", "1", "--json").stdout)["rows_removed"] == 1
    (record,) = json.loads(owncurve(folder, "import", "--list", "--json").stdout)
    assert (record["file_name"], record["undone_utc_ms"] > 0) == ("a.csv", True)


def test_an_option_may_stand_between_the_pump_and_its_file(folder: Path) -> None:
    assert owncurve(folder, "import", "P01", *MAPPED, "log.csv").returncode == 0


@pytest.mark.parametrize("words", [(), ("P01",)])
def test_without_a_pump_and_a_file_it_says_which_is_missing(folder: Path, words: tuple[str, ...]) -> None:
    done = owncurve(folder, "import", *words)
    assert (done.returncode, done.stderr.splitlines()[-1].endswith("FILE.csv")) == (2, True)


def test_nothing_imported_is_listed_in_words(folder: Path) -> None:
    assert owncurve(folder, "import", "--list").stdout == "nothing was imported yet\n"


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("--undo", "0"), "there is no import 0; nothing was imported yet"),
        (("P01", "log.csv", "--undo", "1"), "--undo stands alone, without a pump and a file"),
        (("--undo", "3"), "there is no import 3; nothing was imported yet"),
        (
            ("P01", "log.csv", *MAPPED, "--time-format", "%q"),
            "--time-format '%q': %q means nothing; expected a form such as %m/%d/%Y %I:%M %p",
        ),
        (("P01", "log.csv", *MAPPED, "--time-format", "%H:%M"), "--time-format '%H:%M': has no year"),
        (
            ("P01", "log.csv", *MAPPED, "--time-format", "%d.%m.%Y"),
            "the time '2026-07-01 12:00' cannot be read (the form was given as '%d.%m.%Y')",
        ),
    ],
)
def test_what_cannot_be_meant_is_one_line_too(folder: Path, words: tuple[str, ...], complaint: str) -> None:
    done = owncurve(folder, "import", *words)
    assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1)
    assert complaint in done.stderr


def test_a_log_in_the_wrong_zone_is_refused_and_can_be_kept_knowingly(folder: Path) -> None:
    rows = [f"2026-07-01 {12 + n // 60}:{n % 60:02d},{6 + n / 1000}" for n in range(300)]
    (folder / "day.csv").write_text("time,head_m\n" + "\n".join(rows) + "\n", encoding="utf-8")
    owncurve(folder, "import", "P01", "day.csv", "--tz", "UTC")
    wrong = ("import", "P01", "day.csv", "--tz", "Europe/Lisbon")
    refused = owncurve(folder, *wrong)
    assert (refused.returncode, len(refused.stderr.splitlines())) == (2, 1)
    assert "240 of the 240 rows that can be compared contradict" in refused.stderr
    assert len(readings(folder)) == 300
    assert owncurve(folder, *wrong, "--keep-stored").returncode == 0
    assert len(readings(folder)) == 360


def test_gallons_taken_for_cubic_metres_are_refused_and_can_be_insisted_on(folder: Path) -> None:
    write(folder, "a.csv", "flow_m3h,head_m,power_w", *["88,12,1306"] * 30)
    refused = owncurve(folder, "import", "P01", "a.csv")
    assert (refused.returncode, len(refused.stderr.splitlines())) == (2, 1)
    assert "a.csv: flow x head gives 2.2 times the electric power" in refused.stderr
    assert owncurve(folder, "import", "P01", "a.csv", "--units-are-right").returncode == 0


LONG = "time,head_m\n" + "".join(f"{1_767_225_600 + second},{second % 9}\n" for second in range(150_000))


@pytest.mark.skipif(sys.platform == "win32", reason="there is no pseudo-terminal on Windows")
def test_ctrl_c_half_way_leaves_nothing_and_says_so(folder: Path) -> None:
    (folder / "long.csv").write_text(LONG, encoding="utf-8")
    ours, theirs = pty.openpty()
    words = [sys.executable, "-m", "api", "import", "P01", "long.csv", "--time-format", "unix_s"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        words, cwd=folder, env=environment, stdout=subprocess.DEVNULL, stderr=theirs
    ) as child:
        os.close(theirs)
        shown = os.read(ours, 1000)
        child.send_signal(signal.SIGINT)
        assert child.wait(timeout=30) == 130
    while b"nothing" not in shown:
        shown += os.read(ours, 1000)
    os.close(ours)
    assert "% of the file read" in shown.decode()
    assert shown.decode().splitlines()[-1].endswith("owncurve: stopped; nothing was imported")
    assert readings(folder) == []


def test_ctrl_c_just_after_the_commit_does_not_say_that_nothing_was_kept(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def stopped_late(*words: object) -> None:
        whole_import(*words)
        raise KeyboardInterrupt

    whole_import: Callable[..., object] = trend_log.import_trend_logs
    monkeypatch.setattr(trend_log, "import_trend_logs", stopped_late)
    monkeypatch.chdir(folder)
    assert main(["import", "P01", "log.csv", *MAPPED]) == 130
    assert capsys.readouterr().err == "owncurve: stopped after the import was complete\n"
    assert len(readings(folder)) == 2


@pytest.mark.skipif(sys.platform == "win32", reason="there is no pseudo-terminal on Windows")
def test_a_terminal_is_shown_how_far_it_is(folder: Path) -> None:
    (folder / "long.csv").write_text(LONG, encoding="utf-8")
    ours, theirs = pty.openpty()
    words = [sys.executable, "-m", "api", "import", "P01", "long.csv", "--time-format", "unix_s"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    subprocess.run(words, cwd=folder, env=environment, stdout=subprocess.DEVNULL, stderr=theirs, check=True)
    os.close(theirs)
    shown = os.read(ours, 10_000).decode()
    os.close(ours)
    assert "% of the file read" in shown
