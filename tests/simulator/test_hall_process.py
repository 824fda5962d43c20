"""The hall as the demo starts it: a process with a history, real buses, and a clean end."""

from __future__ import annotations

import csv
import io
import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pymodbus.client import ModbusTcpClient

from simulator.hall import BUSES, hall_pumps
from simulator.plant import build_pump

ROOT = Path(__file__).parents[2]
Hall = tuple[Path, dict[str, Any], dict[str, Any]]
START = 1_764_054_000_000


def start(*words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "simulator", "hall", "--start-utc-ms", str(START), *words],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8", cwd=ROOT,
    )  # fmt: skip


def event(process: subprocess.Popen[str]) -> dict[str, Any]:
    assert process.stdout is not None
    return json.loads(process.stdout.readline())  # type: ignore[no-any-return]


def text_of(path: Path) -> io.StringIO:
    return io.StringIO(path.read_text(encoding="utf-8"))


def close(process: subprocess.Popen[str]) -> None:
    process.kill()
    process.communicate()


@pytest.fixture(scope="module")
def hall(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hall]:
    folder = tmp_path_factory.mktemp("hall")
    process = start("--folder", str(folder), "--weeks", "0.02")
    try:
        yield folder, event(process), event(process)
    finally:
        close(process)


def test_every_pump_has_a_log_that_ends_where_the_live_run_begins(hall: Hall) -> None:
    folder, history, _ = hall
    assert history["event"] == "history"
    assert len(history["files"]) == 13
    for told in history["files"].values():
        rows = list(csv.reader(text_of(folder / told["file"])))
        assert rows[0] == told["columns"]
        assert {len(row) for row in rows} == {len(rows[0])}
    times = [row[0] for row in csv.reader(text_of(folder / "main_pool_circulation.csv"))]
    assert (times[0], len(times), times[-1]) == ("time_utc", 202, "2025-11-25T06:59:00Z")


def test_two_pumps_are_logged_in_us_units(hall: Hall) -> None:
    folder, history, _ = hall
    us = [told for told in history["files"].values() if "Flow gpm" in told["columns"]]
    assert len(us) == 2
    assert us[0]["quantities"]["Head ft"] == ["head_m", "ft"]
    row = next(csv.DictReader(text_of(folder / "teaching_pool_circulation.csv")))
    # 7.5 m of setpoint are 24.6 ft.
    assert float(row["Head ft"]) == pytest.approx(24.6, abs=1.0)


def test_all_buses_are_there_and_every_pump_is_on_one(hall: Hall) -> None:
    _, _, listening = hall
    kinds = {bus["name"]: bus["kind"] for bus in listening["buses"]}
    wanted = "rtu_over_tcp" if sys.platform == "win32" else "serial"
    assert kinds == {"plant_room": wanted, "filter_hall": "rtu_over_tcp", "roof": "tcp"}
    assert {unit["bus"] for unit in listening["units"].values()} == set(kinds)


def test_a_live_drive_goes_on_where_its_log_ended(hall: Hall) -> None:
    folder, _, listening = hall
    bus = next(bus for bus in listening["buses"] if bus["name"] == "roof")
    log = list(csv.DictReader(text_of(folder / "air_handling_coil.csv")))
    with ModbusTcpClient(bus["host"], port=bus["port"]) as client:
        registers = client.read_holding_registers(200, count=2, device_id=1).registers
        energy = client.read_holding_registers(230, count=2, device_id=1).registers
    assert registers[0] == pytest.approx(float(log[-1]["speed_rpm"]), rel=0.03)
    assert (energy[0] * 65536 + energy[1]) / 10 == pytest.approx(float(log[-1]["energy_kwh"]), abs=0.2)


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_it_cleanly(number: signal.Signals) -> None:
    process = start("--no-history")
    try:
        assert event(process)["event"] == "listening"
        process.send_signal(number)
        assert process.wait(timeout=10) == 0
        assert process.stderr is not None
        assert process.stderr.read() == ""
    finally:
        close(process)


def test_it_ends_when_its_parent_is_gone() -> None:
    process = start("--no-history")
    try:
        event(process)
        assert process.stdin is not None
        process.stdin.close()
        process.stdin = None
        assert process.wait(timeout=10) == 0
    finally:
        close(process)


def hours_run(client: ModbusTcpClient) -> int:
    low, high = client.read_input_registers(26, count=2, device_id=2).registers
    return int.from_bytes(low.to_bytes(2, "little") + high.to_bytes(2, "little"), "little")


def hours_seen(client: ModbusTcpClient, wanted: int, within_s: float) -> int:
    deadline = time.monotonic() + within_s
    while (hours := hours_run(client)) < wanted and time.monotonic() < deadline:
        time.sleep(0.2)
    return hours


def test_time_runs_faster_with_speed_up() -> None:
    process = start("--no-history", "--speed-up", "3600")
    try:
        bus = next(bus for bus in event(process)["buses"] if bus["name"] == "roof")
        with ModbusTcpClient(bus["host"], port=bus["port"]) as client:
            assert hours_seen(client, wanted=2, within_s=15) >= 2
    finally:
        close(process)


def test_time_stands_until_it_is_told_to_begin() -> None:
    process = start("--no-history", "--speed-up", "3600", "--hold")
    try:
        bus = next(bus for bus in event(process)["buses"] if bus["name"] == "roof")
        with ModbusTcpClient(bus["host"], port=bus["port"]) as client:
            before = hours_seen(client, wanted=1, within_s=2)
            assert process.stdin is not None
            process.stdin.write(f"begin {time.time_ns() // 1_000_000}\n")
            process.stdin.flush()
            assert (before, hours_seen(client, wanted=2, within_s=15) >= 2) == (0, True)
    finally:
        close(process)


def test_a_folder_that_cannot_be_made_gives_one_line(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("x", encoding="utf-8")
    process = start("--folder", str(blocked / "hall"))
    _, said = process.communicate(timeout=30)
    assert process.returncode == 1
    assert len(said.splitlines()) == 1
    assert str(blocked) in said


def test_a_history_needs_a_folder() -> None:
    process = start()
    _, said = process.communicate(timeout=30)
    assert (process.returncode, "--folder" in said) == (2, True)


def test_the_hall_holds_the_variety_it_promises() -> None:
    pumps = hall_pumps(START)
    names = [pump.spec.name for pump in pumps]
    assert len(set(names)) == len(names) >= 10
    assert len({(pump.bus, pump.unit_id) for pump in pumps}) == len(pumps)
    assert {pump.bus for pump in pumps} == {bus.name for bus in BUSES}
    assert len({pump.spec.control.mode for pump in pumps}) == 4
    assert {pump.spec.sensor.provenance for pump in pumps} == {"measured", "estimated"}
    kinds = [fault.kind for pump in pumps for fault in pump.spec.faults]
    for kind in ("ring_leakage", "air", "trip_and_restart", "closed_discharge", "off_bus", "impeller_wear"):
        assert kind in kinds
    assert sum(not pump.spec.faults for pump in pumps) >= 4


def test_every_fault_leaves_four_healthy_weeks_of_the_eight() -> None:
    month_ms = 28 * 86_400_000
    for pump in hall_pumps(START):
        assert all(fault.start_utc_ms >= START - month_ms for fault in pump.spec.faults)


def test_no_pump_of_the_hall_runs_at_an_end_of_its_curve() -> None:
    """Common practice: a pump lives between a quarter and one and a quarter of its best flow."""
    times = START - 60 * 86_400_000 + 600_000 * np.arange(4000, dtype=np.int64)
    for pump in hall_pumps(START):
        true = build_pump(pump.spec, 1).advance(times).true
        running = (true["speed_rpm"] > 0) & (times < START - 25 * 86_400_000)
        curve = pump.spec.curve
        y = true["flow_m3h"] / (
            curve.best_flow_m3h * np.maximum(true["speed_rpm"] / curve.rated_speed_rpm, 0.1)
        )
        assert 0.2 < np.percentile(y[running], 1), pump.spec.name
        assert np.percentile(y[running], 99) < 1.35, pump.spec.name
