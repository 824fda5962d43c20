"""Store and import against the bare SQLite driver doing the same, interleaved in one run.

    python tests/bench_store.py

Prints one line a task: our median, the bare driver's, the ratio and its spread over the rounds. The bare
driver checks nothing, converts nothing, journals nothing; it is the floor, not a rival.
"""

from __future__ import annotations

import csv
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

from collector.quantities import QUANTITY_NAMES
from collector.reading import Reading
from collector.store import open_store
from collector.trend_log import import_trend_log

ROUNDS = 5
LOG_ROWS = 80_640
PUMPS = 20
SCANS = 300
START = datetime(2026, 1, 1, tzinfo=UTC)
PAGE_BYTES = 4096
INSERT = (
    f"INSERT INTO reading VALUES (?, ?, {', '.join('?' * len(QUANTITY_NAMES))}, 0, 2) ON CONFLICT DO NOTHING"
)
COLUMNS = ("speed_rpm", "power_w", "flow_m3h", "head_m")
SELECT = f"SELECT time_utc_ms, {', '.join(COLUMNS)} FROM reading WHERE time_utc_ms >= 0 AND pump_id = 1"


def main() -> None:
    """Run every comparison and print it."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        log = folder / "log.csv"
        _write_log(log)
        _compare(
            "import of 80,640 rows x 13 columns",
            folder,
            lambda f: _import(f, log),
            lambda f: _bare_import(f, log),
        )
        _compare(f"{SCANS} scans of {PUMPS} pumps, a commit each", folder, _scans, _bare_scans)
        _compare(
            "a pump's 80,640 rows x 4 columns back",
            folder,
            lambda f: _rows(f, log),
            lambda f: _bare_rows(f, log),
        )
        print(
            f"bytes written a scan of {PUMPS} pumps: {_bytes_a_scan(folder) / PAGE_BYTES:.2f} pages of 4 KiB"
        )


def _compare(title: str, folder: Path, ours: Callable[[Path], float], bare: Callable[[Path], float]) -> None:
    pairs = []
    for number in range(ROUNDS):
        pairs.append((ours(folder / f"{title[:6]}ours{number}"), bare(folder / f"{title[:6]}bare{number}")))
    ratios = sorted(mine / theirs for mine, theirs in pairs)
    print(
        f"{title}: {median(mine for mine, _ in pairs):.3f} s,"
        f" bare driver {median(theirs for _, theirs in pairs):.3f} s,"
        f" ratio {median(ratios):.2f} ({ratios[0]:.2f} to {ratios[-1]:.2f})"
    )


def _write_log(path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["time_utc", *QUANTITY_NAMES])
        for minute in range(LOG_ROWS):
            moment = (START + timedelta(minutes=minute)).isoformat().replace("+00:00", "Z")
            values = (1450.5, 1452 + minute % 40, 51.2, 6.125, 20.1, 44.0, 3.2, minute / 60, minute / 60)
            rows.writerow([moment, *values, minute // 999, 55.5, 5, 0])


def _timed(act: Callable[[], object]) -> float:
    start = time.perf_counter()
    act()
    return time.perf_counter() - start


def _import(file: Path, log: Path) -> float:
    store = open_store(f"sqlite:///{file}")
    try:
        return _timed(lambda: import_trend_log(store, "P01", log))
    finally:
        store.close()


def _bare(file: Path) -> sqlite3.Connection:
    open_store(f"sqlite:///{file}").close()
    connection = sqlite3.connect(file, isolation_level=None)
    connection.execute("PRAGMA synchronous = FULL")
    connection.executemany(
        "INSERT INTO pump VALUES (?, ?)", [(number, f"P{number}") for number in range(PUMPS)]
    )
    return connection


def _bare_import(file: Path, log: Path) -> float:
    with closing(_bare(file)) as connection:
        return _timed(lambda: _bare_load(connection, log))


def _bare_load(connection: sqlite3.Connection, log: Path) -> None:
    with log.open(encoding="utf-8", newline="") as text:
        rows = csv.reader(text)
        next(rows)
        connection.execute("BEGIN IMMEDIATE")
        values = (
            (round(datetime.fromisoformat(row[0]).timestamp() * 1000), 1, *map(float, row[1:]))
            for row in rows
        )
        connection.executemany(INSERT, values)
        connection.execute("COMMIT")


def _readings(scan: int) -> list[Reading]:
    values = {"speed_rpm": 1450.5, "power_w": 1452.0, "flow_m3h": 51.2, "head_m": 6.1}
    return [Reading(pump=f"P{pump}", time_utc_ms=scan * 10_000 + pump, **values) for pump in range(PUMPS)]


def _scans(file: Path) -> float:
    store = open_store(f"sqlite:///{file}")
    scans = [_readings(scan) for scan in range(SCANS)]
    try:
        return _timed(lambda: [store.append(scan) for scan in scans])
    finally:
        store.close()


def _bare_scans(file: Path) -> float:
    empty = (None,) * (len(QUANTITY_NAMES) - 4)
    scans = [
        [
            (each.time_utc_ms, pump, 1450.5, 1452.0, 51.2, 6.1, *empty)
            for pump, each in enumerate(_readings(scan))
        ]
        for scan in range(SCANS)
    ]
    with closing(_bare(file)) as connection:
        return _timed(lambda: [_bare_scan(connection, scan) for scan in scans])


def _bare_scan(connection: sqlite3.Connection, rows: list[tuple[object, ...]]) -> None:
    connection.execute("BEGIN IMMEDIATE")
    connection.executemany(INSERT, rows)
    connection.execute("COMMIT")


def _rows(file: Path, log: Path) -> float:
    store = open_store(f"sqlite:///{file}")
    try:
        import_trend_log(store, "P01", log)
        return _timed(lambda: store.rows("P01", 0, 10**15, COLUMNS))
    finally:
        store.close()


def _bare_rows(file: Path, log: Path) -> float:
    with closing(_bare(file)) as connection:
        _bare_load(connection, log)
        return _timed(lambda: connection.execute(SELECT).fetchall())


def _bytes_a_scan(folder: Path) -> float:
    """Return the bytes that this process had the system write to disk, checkpoints included (Linux only)."""
    before = _written()
    _scans(folder / "written")
    return (_written() - before) / SCANS


def _written() -> int:
    lines = Path("/proc/self/io").read_text(encoding="utf-8").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("write_bytes"))


if __name__ == "__main__":
    main()
