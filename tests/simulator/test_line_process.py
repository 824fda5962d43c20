"""One line as a process: a port, panels that agree with the registers, a clean end."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import serial

from simulator.drives import MAPS, Drive
from simulator.line_process import reads_of
from tests.simulator.lines.masters import request

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals")
ROOT = Path(__file__).parents[2]
Process = subprocess.Popen[str]


@contextmanager
def line(*words: str) -> Iterator[tuple[Process, dict[str, Any]]]:
    process = subprocess.Popen(
        [sys.executable, "-m", "simulator", "line", "--panel-every", "0.3", *words],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8", cwd=ROOT,
    )  # fmt: skip
    try:
        yield process, event(process)
    finally:
        process.kill()
        process.communicate()


def event(process: Process) -> dict[str, Any]:
    assert process.stdout is not None
    said = process.stdout.readline()
    assert said, process.stderr.read() if process.stderr else ""
    return json.loads(said)  # type: ignore[no-any-return]


def panel(process: Process, unit_id: int) -> dict[str, str]:
    while (said := event(process))["unit_id"] != unit_id:
        pass
    return said["shows"]  # type: ignore[no-any-return]


def refusal(*words: str) -> tuple[int, str]:
    done = subprocess.run(
        [sys.executable, "-m", "simulator", "line", *words],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    return done.returncode, done.stderr.splitlines()[-1]


def test_it_says_where_its_port_is_and_what_hangs_on_it() -> None:
    with line("--baud", "9600", "--parity", "N", "--stop-bits", "2", "--units", "1:A", "7:random") as (
        _,
        told,
    ):
        assert (told["baud"], told["parity"], told["stop_bits"]) == (9600, "N", 2)
        assert [unit["unit_id"] for unit in told["units"]] == [1, 7]
        assert told["units"][1]["map"].startswith("random")
        assert Path(told["port"]).exists()


def test_a_panel_shows_what_the_registers_say_as_its_owner_turns_the_pump() -> None:
    with line("--units", "1:A") as (process, told), serial.Serial(told["port"], 19_200, timeout=3) as port:
        assert process.stdin is not None
        for percent, rpm in ((60, 1740), (100, 2900)):
            process.stdin.write(f"speed 1 {percent}\n")
            process.stdin.flush()
            deadline = time.monotonic() + 10
            while abs(float(panel(process, 1)["speed_rpm"].split()[0]) - rpm) > 20:
                assert time.monotonic() < deadline
            port.reset_input_buffer()
            port.write(request(count=1))
            assert int.from_bytes(port.read(7)[3:5], "big") == pytest.approx(rpm, abs=20)


def test_speeds_in_turn_need_no_hand() -> None:
    with line("--speeds", "50,100", "--each-speed-s", "0.7") as (process, _):
        shown = {panel(process, 1)["speed_rpm"][:2] for _ in range(8)}
        assert "14" in shown
        assert {"28", "29"} & shown


def test_panels_show_the_units_of_their_registers() -> None:
    with line("--units", "5:C", "2:D") as (process, _):
        units = [[text.split()[1] for text in panel(process, unit).values()] for unit in (5, 2)]
        assert units == [["rpm", "kW", "gpm", "ft"], ["rpm", "W", "L/s", "m"]]


def test_another_master_polls_all_drives_for_their_four_quantities() -> None:
    with (
        line("--units", "1:A", "5:C", "--master", "0.5") as (_, told),
        serial.Serial(told["port"], 19_200, timeout=5) as port,
    ):
        heard = port.read(150)
        for unit, map_name in ((1, "A"), (5, "C")):
            for read in reads_of(Drive(unit, MAPS[map_name])):
                assert request(*read[:1], *read[2:]) in heard


def test_the_four_quantities_of_a_table_are_read_in_few_pieces() -> None:
    assert reads_of(Drive(1, MAPS["A"])) == [(1, 3, 10, 1), (1, 3, 12, 1), (1, 3, 20, 2)]
    assert reads_of(Drive(2, MAPS["B"])) == [(2, 4, 100, 8)]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_it_cleanly(number: signal.Signals) -> None:
    with line("--random-map", "4") as (process, _):
        process.send_signal(number)
        assert process.wait(timeout=10) == 0
        assert process.stderr is not None
        assert process.stderr.read() == ""


def test_it_ends_when_its_parent_is_gone() -> None:
    with line() as (process, _):
        assert process.stdin is not None
        process.stdin.close()
        process.stdin = None
        assert process.wait(timeout=10) == 0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--units", "300:A"), "expected UNIT:MAP with a unit from 1 to 247"),
        (("--units", "1:Q"), "got 1:Q"),
        (("--units", "1:A", "1:B"), "a unit occurs twice"),
        (("--damage", "5"), "expected a share from 0 to 1"),
        (("--speeds", "fast"), "expected speeds from 10 to 110"),
        (("--master", "0"), "expected a number above 0"),
    ],
)
def test_bad_words_get_one_line(words: tuple[str, ...], said: str) -> None:
    code, last = refusal(*words)
    assert (code, said in last) == (2, True)
