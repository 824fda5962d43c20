"""What asks on a serial line listens first, and asks nothing where somebody else is master."""

from __future__ import annotations

import argparse
import threading
from pathlib import Path

import pytest

from api.commands import BUS_TROUBLE, Refusal, main
from api.commands.listening_first import add_listening, listen_first
from collector.site import Bus
from simulator.lines import ForeignMaster, running
from simulator.lines.terminal_end import TerminalEnd
from tests.collector.survey.surveyed import line_of, wide_drive

MASTER = ForeignMaster(reads=[(1, 3, 10, 3)], every_s=0.1)


def test_match_asks_nothing_where_another_master_polls(capsys: pytest.CaptureFixture[str]) -> None:
    line, end = line_of(wide_drive(1), masters=[MASTER]), TerminalEnd()
    with running(line, end):
        assert (
            main(["match", end.port, "--line", "115200 8E1", "--panel", "100 W", "--listen", "2"])
            == BUS_TROUBLE
        )
        assert line.port_bytes_sent == 0
    assert f"{end.port}: a master polls this line" in capsys.readouterr().err.splitlines()[-1]


SITE = """[site]
name = "Harbour baths"
time_zone = "Europe/Lisbon"
[[bus]]
name = "line"
kind = "serial"
port = "{port}"
baud = 115200
listen_first_s = 2
[[pump]]
name = "P01"
bus = "line"
unit_id = 1
register_map = "map.toml"
"""
MAP = """[map]
name = "drive"
addresses = "zero-based"
[quantity]
power_w = { table = "holding", address = 12, type = "u16", unit = "W" }
"""


def test_check_asks_nothing_where_another_master_polls(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line, end = line_of(wide_drive(1), masters=[MASTER]), TerminalEnd()
    (tmp_path / "site.toml").write_text(SITE.format(port=end.port), encoding="utf-8")
    (tmp_path / "map.toml").write_text(MAP, encoding="utf-8")
    with running(line, end):
        assert main(["check", "--site", str(tmp_path / "site.toml")]) == BUS_TROUBLE
        assert line.port_bytes_sent == 0
    assert f"{end.port}: a master polls this line" in capsys.readouterr().err.splitlines()[-1]


def test_who_is_the_only_master_is_told_what_was_heard_and_goes_on() -> None:
    line, end = line_of(wide_drive(1), masters=[MASTER]), TerminalEnd()
    with running(line, end):
        heard = listen_first(end.port, 2.0, threading.Event(), is_only_master=True)
    assert heard.has_master


def test_a_port_that_is_not_there_is_one_line() -> None:
    with pytest.raises(Refusal, match="there is no such port"):
        listen_first("/dev/ttyNOWHERE", 1.0, threading.Event())


def test_all_commands_that_ask_listen_equally_long() -> None:
    """A master that comes round every ten seconds is heard by each of them, or by none."""
    parser = argparse.ArgumentParser()
    add_listening(parser)
    assert parser.parse_args([]).listen == Bus(name="line", kind="serial", port="/dev/x").listen_first_s > 10


def test_match_does_not_listen_for_no_time_at_all(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["match", "/dev/x", "--listen", "0", "--panel", "100 W"]) == 2
    assert "--listen should be from 1 to 3600 s, not 0" in capsys.readouterr().err
