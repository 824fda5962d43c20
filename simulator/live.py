"""The live run: every pump moved along the simulated clock, its values put into its drive's registers."""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping
from typing import Final

import numpy as np

from simulator.drives import Drive
from simulator.plant import PumpPlant
from simulator.plant.arrays import TimeArray

_FINEST_STEP_MS: Final = 1000
_MOST_STEPS: Final = 120
_REFRESH_S: Final = 0.2


class SimulatedClock:
    """Simulated time as a function of real time: ``start + (real - real_start) * speed_up``.

    Without a real start it stands at its own start until :meth:`begin`.
    """

    def __init__(self, start_utc_ms: int, real_start_ms: int | None, speed_up: float) -> None:
        self.start_utc_ms = start_utc_ms
        self._real_start_ms = real_start_ms
        self._speed_up = speed_up

    def now_utc_ms(self) -> int:
        """Return the simulated time, never before its start."""
        if self._real_start_ms is None:
            return self.start_utc_ms
        real_ms = time.time_ns() // 1_000_000
        return self.start_utc_ms + max(0, int((real_ms - self._real_start_ms) * self._speed_up))

    def begin(self, real_start_ms: int) -> None:
        """Let the time run from this real instant on."""
        self._real_start_ms = real_start_ms


def steps_between(last_utc_ms: int, now_utc_ms: int) -> TimeArray:
    """Return the times to move through: whole seconds, or coarser steps when the clock runs fast.

    >>> steps_between(0, 3500)
    array([1000, 2000, 3000])
    """
    whole = (now_utc_ms - last_utc_ms) // _FINEST_STEP_MS
    if whole <= 0:
        return np.empty(0, dtype=np.int64)
    stride = -(-whole // _MOST_STEPS)
    ends = np.arange(whole, 0, -stride, dtype=np.int64)[::-1]
    return last_utc_ms + ends * _FINEST_STEP_MS


class LiveRun:
    """Moves the pumps until stopped. Drives show the newest instant; between two refreshes they hold it."""

    def __init__(
        self,
        plants: Mapping[str, PumpPlant],
        drives: Mapping[str, Drive],
        clock: SimulatedClock,
    ) -> None:
        self._plants = plants
        self._drives = drives
        self._clock = clock
        self._last_utc_ms = clock.start_utc_ms - _FINEST_STEP_MS
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="plant", daemon=True)

    def start(self) -> None:
        """Show the first instant, then go on in a thread of its own."""
        self.refresh()
        self._thread.start()

    def stop(self) -> None:
        """Stop within one refresh."""
        self._stop.set()
        self._thread.join()

    def refresh(self) -> None:
        """Move every pump to the present."""
        times = steps_between(self._last_utc_ms, self._clock.now_utc_ms())
        if not len(times):
            return
        self._last_utc_ms = int(times[-1])
        for name, plant in self._plants.items():
            signals = plant.advance(times)
            drive = self._drives[name]
            drive.show({quantity: float(values[-1]) for quantity, values in signals.reported.items()})
            drive.on_bus = bool(signals.on_bus[-1])

    def _run(self) -> None:
        while not self._stop.wait(_REFRESH_S):
            self.refresh()
