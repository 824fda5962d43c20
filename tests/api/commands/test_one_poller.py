"""Two masters on one line damage each other's traffic: the second is refused at once, in one line."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

if sys.platform == "win32":
    pytest.skip("there is no pseudo-terminal on Windows", allow_module_level=True)

import fcntl

from tests.collector.bus.serial_devices import Device, honest, on_pseudo_terminal

ROOT = Path(__file__).parents[3]
SITE = """
[site]
name = "Harbour baths"
time_zone = "Europe/Lisbon"
[[bus]]
name = "line"
kind = "serial"
port = "{port}"
baud = 115200
parity = "N"
interval_s = 0.1
listen_first_s = 0
[[pump]]
name = "P01"
bus = "line"
unit_id = 7
register_map = "map.toml"
"""
MAP = """
[map]
name = "words"
addresses = "zero-based"
[quantity]
speed_rpm = { table = "holding", address = 1450, type = "u16", unit = "rpm" }
"""


def write_site(folder: Path, port: str) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "site.toml").write_text(SITE.format(port=port), encoding="utf-8")
    (folder / "map.toml").write_text(MAP, encoding="utf-8")
    return folder


@pytest.fixture
def line() -> Iterator[Device]:
    with on_pseudo_terminal(honest) as device:
        yield device


def command(folder: Path, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "api", *words],
        cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


@contextmanager
def polling(folder: Path, line: Device) -> Iterator[subprocess.Popen[str]]:
    """A first poller that already speaks on the line."""
    first = command(folder, "poll")
    try:
        deadline_s = time.monotonic() + 20
        while not line.requests:
            assert first.poll() is None
            assert time.monotonic() < deadline_s, "the poller never spoke"
            time.sleep(0.05)
        yield first
    finally:
        first.kill()
        first.communicate(timeout=10)


def refusal(folder: Path, *words: str) -> str:
    """Run a command that must be refused within seconds in one line with exit code 3."""
    second = command(folder, *words)
    out, err = second.communicate(timeout=20)
    assert (second.returncode, out, len(err.splitlines())) == (3, "", 1), err
    return err


@pytest.mark.parametrize("words", [("poll",), ("run", "--port", "0")])
def test_a_second_poller_of_a_site_is_refused_with_the_first_ones_number(
    tmp_path: Path, line: Device, words: tuple[str, ...]
) -> None:
    folder = write_site(tmp_path / "a", line.place)
    with polling(folder, line) as first:
        assert f"site.toml is already being polled by process {first.pid};" in refusal(folder, *words)
        assert first.poll() is None


def test_a_port_that_another_site_of_ours_reads_is_in_use(tmp_path: Path, line: Device) -> None:
    one, other = write_site(tmp_path / "a", line.place), write_site(tmp_path / "b", line.place)
    with polling(one, line) as first:
        words = f"{line.place}: the port is in use by another program (process {first.pid})"
        assert words in refusal(other, "poll")


def test_another_name_of_the_port_is_the_same_port(tmp_path: Path, line: Device) -> None:
    (tmp_path / "adapter").symlink_to(line.place)
    one = write_site(tmp_path / "a", line.place)
    other = write_site(tmp_path / "b", str(tmp_path / "adapter"))
    with polling(one, line):
        assert "the port is in use by another program" in refusal(other, "poll")


def test_a_port_locked_by_a_strangers_program_is_in_use(tmp_path: Path, line: Device) -> None:
    folder = write_site(tmp_path / "a", line.place)
    descriptor = os.open(line.place, os.O_RDWR | os.O_NOCTTY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        assert "the port is in use by another program; only one may speak" in refusal(folder, "poll")
    finally:
        os.close(descriptor)
    assert line.requests == []


def test_a_poller_that_was_killed_holds_nothing(tmp_path: Path, line: Device) -> None:
    folder = write_site(tmp_path / "a", line.place)
    with polling(folder, line) as first:
        first.send_signal(signal.SIGKILL)
        first.wait(10)
        line.requests.clear()
        with polling(folder, line) as second:
            assert second.poll() is None
