"""``owncurve poll``: a real process reads a real socket into a real file, stays small and ends well."""

from __future__ import annotations

import os
import signal
import socketserver
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.store import open_store

ROOT = Path(__file__).parents[3]
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals are POSIX here")

SMALLEST_SITE = """
[site]
name = "Harbour baths"
time_zone = "Europe/Lisbon"
[[pump]]
name = "P01"
"""
SITE = (
    SMALLEST_SITE
    + """
bus = "gateway"
unit_id = 1
register_map = "map.toml"
[[bus]]
name = "gateway"
kind = "tcp"
host = "127.0.0.1"
port = {port}
interval_s = 0.1
"""
)
MAP = """
[map]
name = "words"
addresses = "zero-based"
[quantity.speed_rpm]
table = "holding"
address = 0
type = "u16"
unit = "rpm"
[quantity.head_m]
table = "holding"
address = 1
type = "u16"
scale = 0.01
unit = "m"
"""
# Says at its end which heavy libraries the process has loaded.
TELLING = """
import atexit, sys
heavy = ("pandas", "plotly", "numpy", "fastapi", "pymodbus")
atexit.register(lambda: print([name for name in heavy if name in sys.modules], flush=True))
from api.commands import main
sys.exit(main(sys.argv[1:]))
"""


class Drive(socketserver.BaseRequestHandler):
    """Answers every read of holding registers with 1450 and 650 (framing: MODBUS messaging guide V1.0b)."""

    def handle(self) -> None:
        while request := self.request.recv(260):
            transaction, _, _, unit, function, _, count = struct.unpack(">HHHBBHH", request[:12])
            words = struct.pack(">HH", 1450, 650)[: 2 * count]
            head = struct.pack(">HHHBBB", transaction, 0, 3 + len(words), unit, function, len(words))
            self.request.sendall(head + words)


class Gateway(socketserver.ThreadingTCPServer):
    allow_reuse_address = True
    daemon_threads = True
    block_on_close = False


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    with Gateway(("127.0.0.1", 0), Drive) as gateway:
        threading.Thread(target=gateway.serve_forever, args=(0.05,), daemon=True).start()
        (tmp_path / "site.toml").write_text(SITE.format(port=gateway.server_address[1]), encoding="utf-8")
        (tmp_path / "map.toml").write_text(MAP, encoding="utf-8")
        yield tmp_path
        gateway.shutdown()


def start(folder: Path, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", TELLING, "poll", *words],
        cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def times(folder: Path) -> list[int]:
    store = open_store(f"sqlite:///{folder / 'site.sqlite'}")
    try:
        return [time_utc_ms for (time_utc_ms,) in store.rows("P01", 0, 10**15, [])]
    finally:
        store.close()


def wait_for_readings(folder: Path, count: int) -> None:
    for _ in range(200):
        if (folder / "site.sqlite").exists() and len(times(folder)) >= count:
            return
        time.sleep(0.05)
    raise AssertionError(f"fewer than {count} readings within 10 s")


def end(poller: subprocess.Popen[str], with_signal: int) -> tuple[int, str, str]:
    poller.send_signal(with_signal)
    out, err = poller.communicate(timeout=10)
    return poller.returncode, out, err


@pytest.mark.parametrize("with_signal", [signal.SIGINT, signal.SIGTERM])
def test_what_the_drive_says_is_in_the_file_when_polling_ends(folder: Path, with_signal: int) -> None:
    poller = start(folder)
    wait_for_readings(folder, 3)
    assert end(poller, with_signal)[0] == 0
    store = open_store(f"sqlite:///{folder / 'site.sqlite'}")
    try:
        rows = store.rows("P01", 0, 10**15, ["speed_rpm", "head_m", "flow_m3h", "quality"])
        assert {row[1:] for row in rows} == {(1450.0, 6.5, None, 0)}
    finally:
        store.close()


def test_readings_are_stamped_with_the_time_they_came(folder: Path) -> None:
    before = time.time_ns() // 1_000_000
    poller = start(folder)
    wait_for_readings(folder, 3)
    end(poller, signal.SIGTERM)
    assert before <= min(times(folder)) <= max(times(folder)) <= time.time_ns() // 1_000_000


def test_a_demonstration_may_run_on_a_clock_of_its_own(folder: Path) -> None:
    simulated_ms = 1_800_000_000_000
    poller = start(folder, "--clock", f"{simulated_ms}:{time.time_ns() // 1_000_000}:10")
    wait_for_readings(folder, 3)
    end(poller, signal.SIGTERM)
    assert 0 <= min(times(folder)) - simulated_ms < 600_000


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="this system does not tell sizes in /proc")
def test_polling_stays_small(folder: Path) -> None:
    """A small always-on computer runs it: below 80 MB resident, without the libraries that analysis needs."""
    poller = start(folder)
    wait_for_readings(folder, 20)
    lines = Path(f"/proc/{poller.pid}/status").read_text(encoding="utf-8").splitlines()
    resident_kb = next(int(line.split()[1]) for line in lines if line.startswith("VmRSS"))
    loaded = end(poller, signal.SIGTERM)[1].strip()
    assert (resident_kb < 80_000, loaded) == (True, "[]"), f"{resident_kb} kB"


def test_a_site_that_is_fed_by_imports_waits_quietly(tmp_path: Path) -> None:
    (tmp_path / "site.toml").write_text(SMALLEST_SITE, encoding="utf-8")
    poller = start(tmp_path)
    assert poller.stderr is not None
    assert "no pump of site.toml has a bus" in poller.stderr.readline()
    assert end(poller, signal.SIGTERM)[0] == 0


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["--site", "nowhere.toml"], "nowhere.toml: cannot be read"),
        (["--clock", "noon"], "--clock: a clock is start_ms:real_start_ms:speed_up"),
    ],
)
def test_what_is_wrong_is_one_line_and_exit_code_2(folder: Path, words: list[str], complaint: str) -> None:
    poller = start(folder, *words)
    _, err = poller.communicate(timeout=10)
    assert (poller.returncode, len(err.splitlines())) == (2, 1)
    assert complaint in err


def test_a_wrong_register_map_ends_polling_with_its_line(folder: Path) -> None:
    (folder / "map.toml").write_text(MAP.replace("u16", "u17"), encoding="utf-8")
    poller = start(folder)
    _, err = poller.communicate(timeout=10)
    assert (poller.returncode, len(err.splitlines())) == (2, 1)
    assert "map.toml, line" in err


def test_the_first_reading_of_a_pump_is_said_within_seconds(folder: Path) -> None:
    poller = start(folder)
    wait_for_readings(folder, 5)
    _, _, err = end(poller, signal.SIGTERM)
    assert err.splitlines() == ["owncurve: P01 (unit 1 on gateway): is read"]


def test_a_gateway_that_is_not_there_is_said_once(folder: Path) -> None:
    (folder / "site.toml").write_text(SITE.format(port=1), encoding="utf-8")
    poller = start(folder)
    assert poller.stderr is not None
    line = poller.stderr.readline()
    time.sleep(1.5)
    assert end(poller, signal.SIGTERM)[2] == ""
    assert "P01 (unit 1 on gateway): no reading yet: 127.0.0.1:1: no connection" in line
