"""From a building controller's polling on a real pseudo-terminal to rows in a real SQLite file.

``owncurve poll`` runs as its own process on a bus that is ``listen_only``. The drives change their values
while the other master reads them; each stored row must be what a drive showed at that row's time.
"""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from collector.bus.line_setting import parse_line_setting
from collector.reading import Source
from collector.store import open_store
from simulator.lines import ForeignMaster, SharedLine, running
from simulator.lines.terminal_end import TerminalEnd
from tests.collector.listening.lines import drives, simulated

ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals and signals are POSIX here")

SITE = """
[site]
name = "Harbour baths"
time_zone = "Europe/Lisbon"
[[bus]]
name = "boiler_room"
kind = "serial"
port = "{port}"
baud = 19200
parity = "E"
listen_only = true
[[pump]]
name = "One block"
bus = "boiler_room"
unit_id = 5
register_map = "{maps}/b.toml"
[[pump]]
name = "Two blocks"
bus = "boiler_room"
unit_id = 1
register_map = "{maps}/a.toml"
"""
QUANTITIES = ("speed_rpm", "power_w", "flow_m3h", "head_m")
STATES = 10
STATE_S = 0.5
LATE_MS = 1250
"""A row's time is when we had the answer: on a busy machine that is later than when it was given."""


def state(number: int) -> dict[str, float]:
    return {
        "speed_rpm": 2000.0 + 10 * number,
        "power_w": 1000.0 + 7 * number,
        "flow_m3h": 20.0 + number / 2,
        "head_m": 8.0 + number / 4,
    }


def polled_by_another(folder: Path) -> tuple[Path, list[int]]:
    """Run ``owncurve poll`` through all states; return the site file and when each state began [ms UTC]."""
    reads = ((5, 4, 100, 14), (1, 3, 10, 4), (1, 3, 20, 2))
    master = ForeignMaster(reads=reads, every_s=0.2, timeout_s=0.2)
    line = SharedLine(simulated(parse_line_setting("19200 8E1")), drives(state(0)), [master])
    end = TerminalEnd()
    path = folder / "site.toml"
    path.write_text(SITE.format(port=end.port, maps=ROOT / "api" / "demo" / "maps"), encoding="utf-8")
    with running(line, end):
        process = subprocess.Popen(
            [sys.executable, "-m", "api", "poll", "--site", str(path)],
            stderr=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        assert process.stderr is not None
        said = {process.stderr.readline(), process.stderr.readline()}
        since_ms = [shown_for_a_while(line, number) for number in range(STATES)]
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=20)
    assert process.returncode == 0
    assert said == {
        "owncurve: One block (unit 5 on boiler_room): is read\n",
        "owncurve: Two blocks (unit 1 on boiler_room): is read\n",
    }
    assert line.port_bytes_sent == 0
    return path, since_ms


def shown_for_a_while(line: SharedLine, number: int) -> int:
    since_ms = time.time_ns() // 10**6
    for drive in line.drives:
        drive.show(state(number))
    time.sleep(STATE_S)
    return since_ms


def test_what_the_drives_showed_another_master_is_what_is_stored(tmp_path: Path) -> None:
    path, since_ms = polled_by_another(tmp_path)
    store = open_store(f"sqlite:///{path.with_suffix('.sqlite')}")
    try:
        one = store.rows("One block", since_ms[0], 2**62, (*QUANTITIES, "quality", "source"))
        two = store.rows("Two blocks", since_ms[0], 2**62, (*QUANTITIES, "source"))
        assert store.failures("One block", 0, 2**62) == []
    finally:
        store.close()

    states = [tuple(state(number).values()) for number in range(STATES)]
    seen = set()
    for time_ms, *values, quality, source in one:
        number = next(place for place in range(STATES) if values == pytest.approx(states[place], rel=1e-6))
        seen.add(number)
        assert since_ms[number] <= time_ms <= since_ms[number] + 1000 * STATE_S + LATE_MS
        assert (source, quality & 0xFFFF) == (Source.HEARD, 0)
    assert seen == set(range(STATES))

    # Two blocks are read one after the other: each value was shown, in that drive's tenths.
    whole = [row for row in two if None not in row]
    assert len(whole) >= 2 * STATES
    # Where hearing began or ended between the two, what was heard stands alone.
    assert len(two) - len(whole) <= 2
    for _, speed_rpm, power_w, flow_m3h, head_m, source in whole:
        assert source == Source.HEARD
        assert (speed_rpm, power_w) in {shown[:2] for shown in states}
        assert any(abs(flow_m3h - shown[2]) <= 0.051 and abs(head_m - shown[3]) <= 0.051 for shown in states)
