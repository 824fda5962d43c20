"""``owncurve listen``: a real process at a real pseudo-terminal, heard at the other end; its sentences."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from api.commands.listen_words import as_text
from collector.bus.line_setting import parse_line_setting
from collector.listening import LinePicture, UnitPicture, WriteSeen
from simulator.lines import PortWiring, SharedLine, running
from simulator.lines.terminal_end import TerminalEnd
from tests.collector.listening.lines import READS, drives, polled_line, simulated

ROOT = Path(__file__).parents[3]
SETTING = parse_line_setting("19200 8E1")
MAP_A = ROOT / "api" / "demo" / "maps" / "a.toml"


def listening(port: str, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "api", "listen", port, *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=90,
        cwd=ROOT,
    )


def on_line(line: SharedLine, *words: str) -> subprocess.CompletedProcess[str]:
    end = TerminalEnd()
    with running(line, end):
        done = listening(end.port, *words)
    assert line.port_bytes_sent == 0
    return done


def test_a_line_with_a_master_is_told_in_sentences_and_nothing_is_sent() -> None:
    done = on_line(polled_line(SETTING, every_s=0.3), "--seconds", "4")
    assert done.returncode == 0
    for words in (
        "The line runs at 19200",
        "this port does not show parity",
        "A master polls 4 units here: do not ask anything on this line as a second one.",
        "listen_only = true",
        "holding registers 10 to 13 (counted from 0), every 0.3",
        "unit 30: ",
        "nobody has this address, or it is off",
    ):
        assert words in done.stdout
    assert "Drives can restart by themselves" in done.stderr


def test_readings_of_a_unit_are_shown_as_they_come() -> None:
    done = on_line(
        polled_line(SETTING, every_s=0.2, reads=READS[:2]),
        *("--line", "19200 8E1", "--seconds", "2", "--map", f"1={MAP_A}", "--units", "US"),
    )
    shown = [line for line in done.stdout.splitlines() if " unit 1: speed" in line]
    assert len(shown) >= 3
    # What the drive's panel shows, in the units of the trade: 1180 W, 142 gpm, 27.6 ft, 2400 rpm.
    assert "speed 2,400\xa0rpm, power 1,180\xa0W" in shown[0]
    assert "flow 142\xa0gpm, head 27.6\xa0ft" in shown[0]


def test_json_is_one_object_a_line_with_the_picture_last() -> None:
    done = on_line(
        polled_line(SETTING, every_s=0.2, reads=READS[:2]),
        *("--line", "19200-8E1", "--seconds", "2", "--map", f"1={MAP_A}", "--json"),
    )
    *readings, picture = [json.loads(line) for line in done.stdout.splitlines()]
    assert {(each["unit"], each["source"], each["power_w"]) for each in readings} == {(1, "heard", 1180.0)}
    assert (picture["has_master"], picture["setting"]["words"]) == (True, "19200 8E1")
    (unit,) = picture["units"]
    assert [(each["function"], each["address"], each["count"]) for each in unit["reads"]] == [
        (3, 10, 4),
        (3, 20, 2),
    ]


def test_a_silent_line_is_an_answer() -> None:
    done = on_line(SharedLine(simulated(SETTING), drives()), "--seconds", "1")
    assert (done.returncode, "Nothing was said in" in done.stdout, "no master" in done.stdout) == (
        0,
        True,
        True,
    )


def test_a_line_that_nobody_understands_is_a_trouble_of_the_bus() -> None:
    line = polled_line(SETTING, every_s=0.3, port=PortWiring(is_swapped=True))
    done = on_line(line, "--seconds", "2")
    assert (done.returncode, "the other way round" in done.stdout) == (3, True)


def test_ctrl_c_ends_early_and_still_tells_what_was_heard() -> None:
    line, end = polled_line(SETTING, every_s=0.3), TerminalEnd()
    with running(line, end):
        process = subprocess.Popen(
            [sys.executable, "-m", "api", "listen", end.port, "--line", "19200 8E1", "--seconds", "600"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        assert process.stderr is not None
        process.stderr.readline()
        time.sleep(1.5)
        process.send_signal(signal.SIGINT)
        out, _ = process.communicate(timeout=30)
    assert (process.returncode, "A master polls 4 units" in out) == (130, True)


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("/dev/no-such-adapter",), 3, "/dev/no-such-adapter: there is no such port"),
        (("/dev/null", "--line", "fast"), 2, '--line: a line setting is written as "19200 8E1"'),
        (("/dev/null", "--seconds", "0"), 2, "--seconds should be above 0"),
        (("/dev/null", "--map", "pump.toml"), 2, "--map should be UNIT=MAP.toml"),
        (("/dev/null", "--map", "300=pump.toml"), 2, "a unit of 1 to 247"),
        (("/dev/null", "--map", "1=nowhere.toml"), 2, "nowhere.toml: cannot be read"),
    ],
)
def test_what_cannot_be_done_is_one_line(words: tuple[str, ...], code: int, said: str) -> None:
    done = listening(*words)
    refused = [line for line in done.stderr.splitlines() if said in line]
    assert (done.returncode, done.stdout, len(refused)) == (code, "", 1)
    assert "Traceback" not in done.stderr


UNIT = UnitPicture(
    unit=5,
    requests=100,
    answers=90,
    exceptions=3,
    no_answers=2,
    damaged=5,
    writes=0,
    reads=((3, 10, 4, 100, 0.5),),
    turn_around_p50_s=0.012,
    turn_around_p95_s=0.020,
)


SPEED_COMMAND = WriteSeen(function=16, address=40, count=4, times=6, every_s=5.0, last=(7500, 0, 0, 1))
ALL_STOP = WriteSeen(function=5, address=3, count=1, times=1, every_s=None, last=(0,))


def picture(**changed: object) -> LinePicture:
    told: dict[str, object] = {
        "setting": SETTING,
        "setting_is_sure": True,
        "seconds": 30.0,
        "bytes_heard": 5000,
        "masters_seen": 1,
        "units": (UNIT,),
    }
    return LinePicture(**{**told, **changed})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("seen", "words"),
    [
        (
            picture(),
            "unit 5: 100 requests, 90 answered, after 12 ms (95 % within 20 ms), 3 refused, 2",
        ),
        (picture(masters_seen=2), "At least two masters speak on it"),
        (picture(masters_seen=0, units=(), strays=4), "Answers are heard but never a request"),
        (picture(line_share=0.93), "no room for more"),
        (picture(crc_errors=50), "check termination at both ends"),
        (picture(other_functions=((5, 65, 3),)), "unit 5: function 65, which is not read here, 3 frames"),
        (picture(strays=1), "1 answer belonged to no request that was heard: its unit was late"),
        (picture(broadcasts=2), "2 commands went to all units at once"),
        (
            picture(units=(replace(UNIT, written=(SPEED_COMMAND,)),)),
            "A master writes to unit 5:\n  holding registers 40 to 43 (counted from 0), every 5 s, 6 times, "
            "last 7500, 0, 0, 1\nWho looks for what starts a drive or sets its speed",
        ),
        (picture(written_to_all=(ALL_STOP,)), "A master writes to all units at once:\n  coil 3 (counted"),
        (picture(masters_seen=0, units=()), "Leave --line out, and the setting is looked for."),
        (picture(masters_seen=0, units=(), setting=None), "no setting from 9600 to 115200 baud"),
        (
            picture(bytes_heard=0),
            "or it is off, or our wires are not on the line",
        ),
    ],
    ids=lambda value: value[:30] if isinstance(value, str) else "",
)
def test_each_state_of_a_line_has_its_sentence(seen: LinePicture, words: str) -> None:
    assert words in as_text(seen)


def test_a_sound_line_gets_no_advice() -> None:
    told = as_text(picture())
    assert ("check termination" in told, "two masters" in told, "writes" in told) == (False, False, False)
