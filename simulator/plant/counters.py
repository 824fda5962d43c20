"""The drive's counters: energy, run hours, starts. They only ever grow."""

from __future__ import annotations

import numpy as np

from simulator.plant.arrays import HOUR_MS, BoolArray, FloatArray, TimeArray


class Counters:
    """Counters that carry over from one stretch of time to the next."""

    def __init__(self) -> None:
        self._last_utc_ms: int | None = None
        self._was_running = False
        self._energy_kwh = 0.0
        self._run_time_h = 0.0
        self._starts = 0

    def count(self, times: TimeArray, running: BoolArray, power_w: FloatArray) -> dict[str, FloatArray]:
        """Return the counters at each time; between two times power is taken as at the later one."""
        if not len(times):
            return {"energy_kwh": np.empty(0), "run_time_h": np.empty(0), "starts": np.empty(0)}
        before = times[0] if self._last_utc_ms is None else self._last_utc_ms
        hours = np.diff(times, prepend=before) / HOUR_MS
        was = np.concatenate(([self._was_running], running[:-1]))
        counted = {
            "energy_kwh": _grown(self._energy_kwh, hours * power_w / 1000.0),
            "run_time_h": _grown(self._run_time_h, hours * running),
            "starts": _grown(float(self._starts), (running & ~was).astype(np.float64)),
        }
        self._remember(times, running, counted)
        return counted

    def _remember(self, times: TimeArray, running: BoolArray, counted: dict[str, FloatArray]) -> None:
        self._last_utc_ms = int(times[-1])
        self._was_running = bool(running[-1])
        self._energy_kwh = float(counted["energy_kwh"][-1])
        self._run_time_h = float(counted["run_time_h"][-1])
        self._starts = int(counted["starts"][-1])


def _grown(start: float, steps: FloatArray) -> FloatArray:
    # Summed in order from the start value, so that pieces add up exactly as the whole does.
    grown: FloatArray = np.cumsum(np.concatenate(([start], steps)))[1:]
    return grown
