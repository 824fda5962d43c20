"""A process that is killed in the middle loses nothing that it was told is kept, and leaves nothing half."""

from __future__ import annotations

import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from collector.reading import Reading
from collector.store import open_store

ROOT = Path(__file__).parents[3]
PUMPS = 20
KILLS = 25
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is a POSIX signal")

POLLER = """
import sys
from collector.reading import Reading
from collector.reading import Reading
from collector.store import open_store
store = open_store("sqlite:///" + sys.argv[1])
scan = int(sys.argv[2])
print("ready", flush=True)
while True:
    store.append([Reading(pump=f"P{pump}", time_utc_ms=scan * 1000, head_m=6.5) for pump in range(20)])
    print(scan, flush=True)
    scan += 1
"""


def kill_while_appending(file: Path, first_scan: int, after_s: float) -> int:
    """Start a writer, kill it after a while, and return the last scan it was told is kept."""
    words = [sys.executable, "-c", POLLER, str(file), str(first_scan)]
    with subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
        time.sleep(after_s)
        writer.send_signal(signal.SIGKILL)
        lines = [line for line in writer.stdout if line.endswith("\n")]
    return int(lines[-1]) if lines else first_scan - 1


def test_kills_lose_nothing_acknowledged_and_tear_no_scan(file: Path) -> None:
    lengths_s = random.Random(7)
    next_scan, acknowledged = 0, 0
    for _ in range(KILLS):
        last = kill_while_appending(file, next_scan, lengths_s.uniform(0.0, 0.06))
        acknowledged += last - next_scan + 1
        # A scan may be on disk whose acknowledgement was cut off, so the next writer starts beyond it.
        next_scan = last + 2
    with closing(sqlite3.connect(file)) as connection:
        scans = connection.execute("SELECT count(*) FROM reading GROUP BY time_utc_ms").fetchall()
        (verdict,) = connection.execute("PRAGMA integrity_check").fetchone()
    assert verdict == "ok"
    assert {count for (count,) in scans} == {PUMPS}, "a scan is torn"
    assert acknowledged <= len(scans) <= acknowledged + KILLS
    assert acknowledged > KILLS, "the writers were killed before they wrote anything"


IMPORTER = """
import sys
from pathlib import Path
from collector.reading import Reading
from collector.store import open_store
from collector.trend_log import import_trend_log
def tell(done, size):
    print("under way", flush=True)
    sys.stdin.readline()
store = open_store("sqlite:///" + sys.argv[1])
import_trend_log(store, "P01", Path(sys.argv[2]), progress=tell)
"""


def test_an_import_that_is_killed_leaves_nothing_half(file: Path, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    rows = "".join(f"2026-01-01T{hour:02}:{minute:02}:{second:02}Z,6.5\n" for hour in range(4)
                   for minute in range(60) for second in range(60))  # fmt: skip
    log.write_text("time_utc,head_m\n" + rows, encoding="utf-8")
    words = [sys.executable, "-c", IMPORTER, str(file), str(log)]
    with subprocess.Popen(words, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as importer:
        assert importer.stdout is not None
        # The first of three batches is in the transaction by then.
        importer.stdout.readline()
        importer.send_signal(signal.SIGKILL)
    store = open_store(f"sqlite:///{file}")
    try:
        assert (store.pump_names(), store.imports(), store.touched_hours().hours) == ((), [], {})
    finally:
        store.close()


@pytest.mark.parametrize("seed", range(12))
def test_a_write_ahead_log_cut_off_anywhere_leaves_whole_scans(file: Path, tmp_path: Path, seed: int) -> None:
    """What a power cut may leave: the newest commits are missing, none is half, and writing goes on."""
    store = open_store(f"sqlite:///{file}")
    for scan in range(30):
        store.append([Reading(pump=f"P{pump}", time_utc_ms=scan, head_m=6.5) for pump in range(PUMPS)])
    cut = tmp_path / "cut.sqlite"
    shutil.copy(file, cut)
    log = file.with_name(file.name + "-wal").read_bytes()
    store.close()
    kept = log[: random.Random(seed).randrange(len(log) // 2, len(log))]
    cut.with_name(cut.name + "-wal").write_bytes(kept)
    after = open_store(f"sqlite:///{cut}")
    try:
        scans = [[row[0] for row in after.rows(f"P{pump}", 0, 100, [])] for pump in range(PUMPS)]
        assert scans == [list(range(len(scans[0])))] * PUMPS
        assert 0 < len(scans[0]) < 30
        assert after.append([Reading(pump="P0", time_utc_ms=99)]) == 1
    finally:
        after.close()
