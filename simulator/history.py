"""The weeks before the live run: every pump moved through them and written as a trend log."""

from __future__ import annotations

import multiprocessing
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np

from simulator.gauges import GaugeReading, gauge_readings
from simulator.hall import HallPump
from simulator.plant import PumpPlant, build_pump
from simulator.plant.arrays import DAY_MS
from simulator.trend_log import TIME_HEADING, Column, write_trend_log

_STEP_MS: Final = 60_000


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpHistory:
    """A pump after its history: where the log is, what stands in it, and the plant to go on with.

    ``gauges`` is what somebody read in the plant room meanwhile.
    """

    name: str
    file: str
    time_heading: str
    columns: tuple[Column, ...]
    plant: PumpPlant
    gauges: tuple[GaugeReading, ...] = ()


def write_histories(
    pumps: Sequence[HallPump], folder: Path, end_utc_ms: int, weeks: float, seed: int
) -> tuple[PumpHistory, ...]:
    """Write one log for each pump, the last row one minute before the end; uses every core."""
    folder.mkdir(parents=True, exist_ok=True)
    write = partial(_write_one, folder=folder, end_utc_ms=end_utc_ms, weeks=weeks, seed=seed)
    # "spawn" everywhere: the same on every system, and safe beside threads.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(mp_context=context, max_workers=_workers()) as pool:
        return tuple(pool.map(write, pumps))


def _workers() -> int:
    return max(1, min(4, multiprocessing.cpu_count()))


def _write_one(pump: HallPump, *, folder: Path, end_utc_ms: int, weeks: float, seed: int) -> PumpHistory:
    rows = max(1, int(weeks * 7 * DAY_MS / _STEP_MS))
    times = end_utc_ms - _STEP_MS * np.arange(rows, 0, -1, dtype=np.int64)
    plant = build_pump(pump.spec, seed)
    file = f"{pump.spec.name}.csv"
    signals = plant.advance(times)
    columns = write_trend_log(folder / file, times, signals, pump.log_units)
    return PumpHistory(
        name=pump.spec.name,
        file=file,
        time_heading=TIME_HEADING[pump.log_units],
        columns=columns,
        plant=plant,
        gauges=gauge_readings(pump.taps, pump.spec, times, signals),
    )
