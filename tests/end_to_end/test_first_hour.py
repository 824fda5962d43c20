"""The tech's first hour on one line: from an unknown drive to stored readings that are what it showed.

``owncurve survey``, ``match``, ``check`` and ``poll`` run one after the other, each as its own process, at a
real pseudo-terminal; a drive with a table made by chance answers there. Between them only what a person types
is filled in: the panel's words, and the lines of the site file that the survey marks.
"""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from collector.registers import load_register_map
from collector.site import load_site
from collector.store import Store, open_store
from simulator.drives import Drive, RandomMap, random_drive_map
from simulator.lines import PacedLine, SerialPort

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals and signals are POSIX here")

ROOT = Path(__file__).parents[2]
UNIT = 2
PUMP = f"Pump at unit {UNIT}"
SETTING = "115200 8E1"
DUTIES = ((1.0, 1.0), (0.88, 0.8), (0.72, 1.05))
CHANNELS = ("speed_rpm", "power_w", "flow_m3h", "head_m")
READINGS = 3


@dataclass(slots=True)
class Bench:
    """A drive at a terminal, and the folder of the site that grows beside it."""

    folder: Path
    port: str
    drive: Drive
    table: RandomMap
    truth: Mapping[str, float] = field(default_factory=dict)

    @property
    def site(self) -> Path:
        return self.folder / "site.toml"

    @property
    def map(self) -> Path:
        """Where the survey's site file expects it."""
        return self.folder / "maps" / f"unit_{UNIT}.toml"

    def panel(self, duty: tuple[float, float]) -> str:
        """Bring the pump to a duty; what its panel shows then."""
        self.truth = self.table.values_at(*duty)
        self.drive.image = self.table.image_of(self.truth)
        return ", ".join(self.table.panel_of(self.truth).values())


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    table = random_drive_map(3)
    drive = Drive(UNIT, table.map, turn_around_s=0.0)
    # Faster than what is asked of the port: a pseudo-terminal knows no baud rate, and the test need not wait.
    port = SerialPort(PacedLine({UNIT: drive}, 921_600))
    port.start()
    try:
        bench = Bench(tmp_path_factory.mktemp("first_hour"), port.port, drive, table)
        first_hour(bench)
        yield bench
    finally:
        port.stop()


def owncurve(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "api", *words],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


def first_hour(bench: Bench) -> None:
    """Go through the hour; each step must succeed before the next."""
    panel = bench.panel(DUTIES[0])
    survey = owncurve(
        "survey", bench.port, "--line", SETTING, "--units", "1-3", "--timeout", "0.2", "--listen", "1",
        "--write", str(bench.site),
    )  # fmt: skip
    assert survey.returncode == 0, survey.stderr
    bench.map.parent.mkdir()
    for duty in DUTIES:
        panel = bench.panel(duty)
        match = owncurve(
            "match", bench.port, "--unit", str(UNIT), "--line", SETTING, "--table", "input", "--panel", panel,
            "--record", str(bench.folder / "samples.toml"), "--write", str(bench.map), "--force",
            "--i-am-the-only-master",
        )  # fmt: skip
    assert match.returncode == 0, match.stdout + match.stderr
    fill_in(bench)
    check = owncurve(
        "check", "--site", str(bench.site), "--pump", PUMP, "--panel", panel, "--i-am-the-only-master"
    )
    assert check.returncode == 0, check.stdout + check.stderr
    poll_a_little(bench)


def fill_in(bench: Bench) -> None:
    """Take the marks off that the survey left for a person: bus, unit, map, and what stands on the plate."""
    text = bench.site.read_text(encoding="utf-8")
    text = re.sub(r"(?m)^# ((bus|unit_id|register_map) = )", r"\1", text)
    for name in ("speed_rpm", "power_w"):
        plate = round(bench.table.rated[name], -1)
        text = re.sub(rf"(?m)^# rated_{name} = \d+", f"rated_{name} = {plate:.0f}", text)
    text = text.replace("timeout_s", "listen_first_s = 1\ninterval_s = 0.3\ntimeout_s", 1)
    bench.site.write_text(text, encoding="utf-8")


def poll_a_little(bench: Bench) -> None:
    """Run ``owncurve poll`` until some readings are stored, and end it as Ctrl-C does."""
    with subprocess.Popen(
        [sys.executable, "-m", "api", "poll", "--site", str(bench.site)], cwd=ROOT, stderr=subprocess.DEVNULL
    ) as polling:
        store = open_store(load_site(bench.site).database_url)
        try:
            until = time.monotonic() + 40
            while len(rows(store)) < READINGS and time.monotonic() < until:
                time.sleep(0.1)
        finally:
            store.close()
            polling.send_signal(signal.SIGINT)
            polling.wait(20)


def rows(store: Store) -> list[tuple[float | None, ...]]:
    ends = store.span(PUMP)
    return [] if ends is None else list(store.rows(PUMP, ends[0], ends[1] + 1, CHANNELS))


def test_the_drive_ends_as_stored_readings_equal_to_what_it_showed(bench: Bench) -> None:
    site = load_site(bench.site)
    store = open_store(site.database_url)
    try:
        stored = rows(store)
    finally:
        store.close()
    assert len(stored) >= READINGS
    steps = {point.quantity.name: abs(point.factor) for point in load_register_map(bench.map).points}
    for row in stored:
        for name, value in zip(CHANNELS, row[-len(CHANNELS) :], strict=True):
            assert value == pytest.approx(bench.truth[name], abs=0.51 * steps[name]), name


def test_nothing_but_reads_was_sent_to_the_drive_in_the_whole_hour(bench: Bench) -> None:
    assert set(bench.drive.asked) <= {1, 2, 3, 4, 0x2B}
