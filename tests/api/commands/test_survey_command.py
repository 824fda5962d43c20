"""``owncurve survey`` as a tech runs it, on simulated lines behind real pseudo-terminals."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from api.commands import main
from api.commands.survey_words import CAUTION, as_text
from collector.bus.line_setting import LineSetting, parse_line_setting
from collector.site import load_site
from collector.survey import SettingSurvey, SurveyPlan
from collector.survey.tally import unit_found
from collector.survey.wiring import Trouble, TroubleKind
from simulator.lines import ForeignMaster, LiveLine, SharedLine, running
from simulator.lines.terminal_end import TerminalEnd
from tests.collector.survey.surveyed import line_of, wide_drive

MASTER = ForeignMaster(reads=[(1, 3, 10, 3)], every_s=0.1)
ASKED = ("--line", "115200-8E1", "--timeout", "0.15", "--units", "1-3")
QUICKLY = (*ASKED, "--listen", "0", "--i-am-the-only-master")
"""Nobody listens first: for what does not depend on it."""


@contextmanager
def behind_terminal(line: SharedLine) -> Iterator[tuple[str, LiveLine]]:
    end = TerminalEnd()
    with running(line, end) as live:
        yield end.port, live


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[subprocess.CompletedProcess[str], Path]:
    """One survey in a process of its own, with a site file begun."""
    path = tmp_path_factory.mktemp("site") / "site.toml"
    with behind_terminal(line_of(wide_drive(2))) as (port, _):
        done = subprocess.run(
            [sys.executable, "-m", "api", "survey", port, *ASKED, "--listen", "1", "--write", str(path)],
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )
    return done, path


def test_what_is_found_goes_to_standard_output(
    written: tuple[subprocess.CompletedProcess[str], Path],
) -> None:
    done, _ = written
    lines = done.stdout.splitlines()
    assert done.returncode == 0
    assert lines[0].startswith("115200 8E1: 1 of 3 addresses answered; ")
    assert lines[1] == "unit 2: Simulated drive A / A-tenths / 1.4"
    assert "begins its answer after" in lines[2]
    assert lines[-2].startswith("For the site file: timeout_s = ")
    assert lines[-1].startswith("Is a drive missing? Try --thorough")


def test_the_caution_and_the_estimate_go_to_standard_error(
    written: tuple[subprocess.CompletedProcess[str], Path],
) -> None:
    done, _ = written
    assert CAUTION in done.stderr
    assert done.stderr.count("s left") == 1
    assert "\r" not in done.stderr


def test_the_site_file_is_begun_and_loads(written: tuple[subprocess.CompletedProcess[str], Path]) -> None:
    done, path = written
    site = load_site(path)
    assert [(bus.baud, bus.parity) for bus in site.buses] == [(115_200, "E")]
    assert [pump.name for pump in site.pumps] == ["Pump at unit 2"]
    assert f"{path}: written" in done.stderr
    assert [each.name for each in path.parent.iterdir()] == ["site.toml"]


def test_a_file_that_is_there_is_refused_before_anything_is_sent(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "site.toml"
    path.write_text("mine", encoding="utf-8")
    with behind_terminal(line_of(wide_drive(2))) as (port, live):
        assert main(["survey", port, *QUICKLY, "--write", str(path)]) == 2
        assert live.line.port_bytes_sent == 0
    assert capsys.readouterr().err.splitlines() == [
        f"owncurve: {path}: is there already; --force replaces it, or choose another name"
    ]
    assert path.read_text(encoding="utf-8") == "mine"


def test_a_file_that_came_meanwhile_is_left_as_it_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "site.toml"
    monkeypatch.setattr(
        "api.commands.survey_words.as_text", lambda *_: path.write_text("mine", encoding="utf-8") and "found"
    )
    with behind_terminal(line_of(wide_drive(2))) as (port, _):
        assert main(["survey", port, *QUICKLY, "--units", "2", "--write", str(path)]) == 2
    assert "is there already, and is left as it is" in capsys.readouterr().err
    assert [path.read_text(encoding="utf-8"), *path.parent.iterdir()] == ["mine", path]


def test_with_force_a_file_is_replaced_only_when_somebody_was_found(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "site.toml"
    path.write_text("mine", encoding="utf-8")
    with behind_terminal(line_of()) as (port, _):
        assert main(["survey", port, *QUICKLY, "--write", str(path), "--force"]) == 3
    assert "not written: nobody answered" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == "mine"


def test_a_line_with_a_master_is_refused_in_one_line_and_nothing_is_sent(
    capsys: pytest.CaptureFixture[str],
) -> None:
    line = line_of(wide_drive(1), masters=[MASTER])
    with behind_terminal(line) as (port, _):
        assert main(["survey", port, "--listen", "2", "--units", "1-3"]) == 3
        assert line.port_bytes_sent == 0
    told = capsys.readouterr()
    last = told.err.splitlines()[-1]
    assert told.out == ""
    # Characters of 8E1 and 8N2 are of one length, and a pseudo-terminal looks at no parity.
    assert re.search(rf"{port}: a master polls this line at 115200 8(E1|N2) \(unit 1; ", last)
    assert "--i-am-the-only-master" in last


def test_who_says_so_may_ask_where_a_master_was_heard(capsys: pytest.CaptureFixture[str]) -> None:
    """A seldom master leaves room, and three questions do not all meet it; its setting is taken over."""
    line = line_of(wide_drive(1), masters=[ForeignMaster(reads=[(1, 3, 10, 3)], every_s=0.7)])
    with behind_terminal(line) as (port, _):
        code = main(
            [
                "survey",
                port,
                "--listen",
                "3",
                "--units",
                "1",
                "--timeout",
                "0.3",
                "--i-am-the-only-master",
                "--thorough",
                "--json",
            ]
        )
        assert line.port_bytes_sent > 0
    told = json.loads(capsys.readouterr().out)
    assert (code, told["settings"][0]["setting"]["baud"]) == (0, 115_200)
    assert [unit["unit"] for unit in told["settings"][0]["found"]] == [1]


SETTINGS = [parse_line_setting(f"{baud} {words}") for baud in (19_200, 9_600) for words in ("8E1", "8N2")]
PLAN = SurveyPlan(units=(1, 2, 3))


def seen(setting: LineSetting | None, *units: int) -> SettingSurvey:
    found = tuple(unit_found([], unit, identification={}, read=None, late_s=None) for unit in units)
    return SettingSurvey(
        setting=setting, units_asked=3, units_planned=3, seconds=2.0, is_complete=True,
        found=found, garbled=(), troubles=(), timing=None,
    )  # fmt: skip


def test_settings_at_which_nobody_answers_are_told_in_one_line() -> None:
    told = as_text([seen(each, *((1,) if each.baud == 9_600 else ())) for each in SETTINGS], PLAN)
    assert "Nobody answered at 19200 8E1, 8N2; 4 s" in told
    assert told.count("answered; 2 s") == 2


def test_where_nothing_is_found_at_any_setting_all_are_named_once() -> None:
    told = as_text([seen(each) for each in SETTINGS], PLAN)
    assert told.splitlines()[0] == "Nobody answered at 19200 8E1, 8N2, 9600 8E1, 8N2; 8 s"


@pytest.mark.parametrize(
    ("surveys", "plan", "options"),
    [
        ([seen(SETTINGS[0])], PLAN, ["--thorough", "--timeout 1", "--all-settings"]),
        ([seen(SETTINGS[0], 1, 2)], PLAN, ["--thorough", "--timeout 1", "--all-settings"]),
        (
            [seen(SETTINGS[0])],
            replace(PLAN, is_thorough=True, timeout_s=2.0),
            ["--timeout 4", "--all-settings"],
        ),
        ([seen(each) for each in SETTINGS], PLAN, ["--thorough", "--timeout 1"]),
        ([seen(None)], PLAN, ["--thorough", "--timeout 1"]),
    ],
    ids=["nobody", "some", "what was tried is left out", "at all settings", "on the network"],
)
def test_where_an_address_is_silent_the_options_that_are_left_are_named(
    surveys: list[SettingSurvey], plan: SurveyPlan, options: list[str]
) -> None:
    last = as_text(surveys, plan).splitlines()[-1]
    assert last.startswith("Is a drive missing? Try ")
    assert re.findall(r"--[a-z-]+(?: \d)?", last) == options


def test_where_all_answer_nobody_is_missing() -> None:
    assert "missing" not in as_text([seen(SETTINGS[0], 1, 2, 3)], PLAN)


def test_a_survey_that_was_stopped_calls_nobody_missing_and_no_wire_wrong() -> None:
    silence = Trouble(kind=TroubleKind.NOTHING_ANSWERS, words="Nothing at all came back.")
    whole = replace(seen(SETTINGS[0]), troubles=(silence,))
    assert "Nothing at all" in as_text([whole], PLAN)
    told = as_text([replace(whole, units_asked=1, is_complete=False)], PLAN)
    assert told == "19200 8E1: 0 of 1 address answered, then it ended; 3 were to be asked; 2 s"


def test_silence_is_told_with_what_to_do_and_is_bus_trouble(capsys: pytest.CaptureFixture[str]) -> None:
    with behind_terminal(line_of()) as (port, _):
        assert main(["survey", port, *QUICKLY, "--json"]) == 3
    (setting,) = json.loads(capsys.readouterr().out)["settings"]
    assert (setting["units_asked"], setting["found"], setting["timing"]) == (3, [], None)
    assert [trouble["kind"] for trouble in setting["troubles"]] == ["nothing_answers"]


def test_ctrl_c_gives_what_was_found_so_far() -> None:
    with behind_terminal(line_of(wide_drive(1))) as (port, _):
        words = ["survey", port, "--line", "115200-8E1", "--listen", "1", "--timeout", "0.3"]
        with subprocess.Popen(
            [sys.executable, "-m", "api", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        ) as process:
            assert process.stderr is not None
            assert any("s left" in line for line in process.stderr)
            with pytest.raises(subprocess.TimeoutExpired):
                process.wait(2.0)
            process.send_signal(signal.SIGINT)
            out, err = process.communicate(timeout=30)
    assert process.returncode == 130, err
    assert out.splitlines()[0].startswith("115200 8E1: 1 of ")
    assert "answered, then it ended; 247 were to be asked; " in out.splitlines()[0]


def test_one_unit_at_several_settings_is_told_to_have_one_all_the_same(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """On a pseudo-terminal parity is not looked at, as by some drives."""
    with behind_terminal(line_of(wide_drive(1))) as (port, _):
        words = [
            port,
            "--line",
            "115200-8E1",
            "--line",
            "115200-8O1",
            *QUICKLY[-3:],
            "--units",
            "1",
        ]
        assert main(["survey", *words]) == 0
    told = capsys.readouterr().out
    assert "Answered at more than one setting: unit 1." in told
    assert "  as above: unit 1\n" in told
    assert told.count("begins its answer after") == 1


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([".", "--units", "1"], ". is a folder, not a serial port"),
        (["plc.example", "--units", "1"], "is it a host? Then say --kind tcp or --kind rtu_over_tcp"),
        (["a:b:c", "--kind", "tcp"], "a host is written HOST, HOST:PORT"),
        (["host:70000", "--kind", "tcp"], "port should be between 1 and 65535"),
        (["/dev/x", "--units", "0-3"], "--units: units are written as"),
        (["/dev/x", "--line", "19200"], "--line: a line setting is written"),
        (["/dev/x", "--line", "12345-8E1"], "--line: speeds are 1200"),
        (["host", "--kind", "tcp", "--all-settings"], "--line is of a serial port"),
        (["/dev/x", "--timeout", "0"], "--timeout should be from 0.01 to 60 s, not 0"),
        (["/dev/x", "--listen", "0"], "--listen should be from 1 to 3600 s, not 0"),
        (["/dev/x", "--write", "/dev"], "/dev is a folder; --write wants the name of a file"),
        (["/dev/x", "--write", "/no/such/folder/site.toml"], "there is no folder /no/such/folder"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_one_line(
    words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["survey", *words]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert told in line


def test_a_port_that_is_not_there_is_bus_trouble(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["survey", "/dev/no-such-adapter"]) == 3
    (line,) = capsys.readouterr().err.splitlines()
    assert "there is no such port" in line


def test_a_host_that_is_away_is_bus_trouble(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["survey", "127.0.0.1:9", "--kind", "tcp", "--units", "1"]) == 3
    assert "no connection" in capsys.readouterr().err.splitlines()[-1]
