"""What each fault of the timetable does at each instant, as shares and masks."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from simulator.plant.arrays import BoolArray, FloatArray, TimeArray
from simulator.plant.noise import key_of, uniform, white
from simulator.plant.spec import Fault, FaultKind, PumpSpec


class Timetable:
    """The faults of one pump, asked by kind. Times are milliseconds UTC, ascending."""

    def __init__(self, spec: PumpSpec, seed: int) -> None:
        self._faults = spec.faults
        self._key = key_of(seed, spec.name, "faults")

    def of(self, *kinds: FaultKind) -> Iterable[Fault]:
        """Return the entries of these kinds."""
        return (fault for fault in self._faults if fault.kind in kinds)

    def severity(self, kind: FaultKind, times: TimeArray) -> FloatArray:
        """Return the severity of a kind at each instant: 0 outside its time, growing along its ramp."""
        total = np.zeros(len(times))
        for fault in self.of(kind):
            total += fault.severity * grown(fault, times)
        return total

    def on(self, kind: FaultKind, times: TimeArray) -> BoolArray:
        """Return where a kind is in force."""
        mask = np.zeros(len(times), dtype=np.bool_)
        for fault in self.of(kind):
            mask |= within(fault, times)
        return mask

    def gas(self, times: TimeArray) -> FloatArray:
        """Return the gas by volume: bursts of about half a cycle, uneven within, fading as it vents."""
        total = np.zeros(len(times))
        for fault in self.of("air"):
            cycle, place = cycles(fault, times)
            strength = 0.6 + 0.8 * uniform(self._key + 1, cycle)
            begin = 0.15 + 0.35 * uniform(self._key + 2, cycle)
            burst = (place >= begin) & (place < begin + 0.45) & within(fault, times)
            churn = np.clip(1.0 + 0.45 * white(self._key + 3, times // 1000), 0.1, 2.0)
            # Gas that was carried through leaves slowly: the tail of a burst is hysteresis, not a new burst.
            tail = (place >= begin + 0.45) & (place < begin + 0.55) & within(fault, times)
            faded = 1.0 - 0.5 * np.clip((times - fault.start_utc_ms) / _length_ms(fault), 0.0, 1.0)
            total += fault.severity * faded * strength * churn * (burst + 0.35 * tail)
        return total

    def stopped_by_trip(self, times: TimeArray) -> BoolArray:
        """Return where the drive has tripped or is held by a fault: the motor stands, the code shows."""
        mask = np.zeros(len(times), dtype=np.bool_)
        for fault in self.of("trip_and_restart"):
            _, place = cycles(fault, times)
            mask |= within(fault, times) & (place < _off_share(fault))
        for fault in self.of("drive_fault"):
            mask |= within(fault, times)
        for fault in self.of("dry_running"):
            mask |= within(fault, times) & (times >= fault.start_utc_ms + int(fault.period_s * 1000))
        return mask

    def stopped_by_staging(self, times: TimeArray) -> BoolArray:
        """Return where a staging controller with too tight a differential holds the pump off."""
        mask = np.zeros(len(times), dtype=np.bool_)
        for fault in self.of("short_cycling"):
            _, place = cycles(fault, times)
            mask |= within(fault, times) & (place < 0.4)
        return mask

    def fault_code(self, times: TimeArray) -> FloatArray:
        """Return the code that the drive shows, 0 for none."""
        codes = np.zeros(len(times))
        tripped = self.stopped_by_trip(times)
        for fault in self.of("trip_and_restart", "drive_fault", "dry_running"):
            codes = np.where(tripped & within(fault, times), float(fault.code), codes)
        return codes

    def on_bus(self, times: TimeArray) -> BoolArray:
        """Return where the drive answers; ``severity`` is the share of each cycle that it is silent."""
        mask = np.ones(len(times), dtype=np.bool_)
        for number, fault in enumerate(self.of("off_bus")):
            cycle, place = cycles(fault, times)
            silent = uniform(self._key + 10 + number, cycle) * (1.0 - fault.severity)
            mask &= ~(within(fault, times) & (place >= silent) & (place < silent + fault.severity))
        return mask


def within(fault: Fault, times: TimeArray) -> BoolArray:
    """Return where an entry is in force, its end excluded."""
    mask: BoolArray = (times >= fault.start_utc_ms) & (times < fault.end_utc_ms)
    return mask


def grown(fault: Fault, times: TimeArray) -> FloatArray:
    """Return how far an entry has grown, 0 to 1."""
    if fault.ramp_s <= 0:
        return within(fault, times).astype(np.float64)
    share = np.clip((times - fault.start_utc_ms) / (fault.ramp_s * 1000.0), 0.0, 1.0)
    return share * within(fault, times)


def cycles(fault: Fault, times: TimeArray) -> tuple[TimeArray, FloatArray]:
    """Return the number of the cycle and the place in it, 0 to below 1."""
    period_ms = int(fault.period_s * 1000)
    since = times - fault.start_utc_ms
    return since // period_ms, (since % period_ms) / period_ms


def _off_share(fault: Fault) -> float:
    return min(0.5, 100.0 / fault.period_s)


def _length_ms(fault: Fault) -> float:
    return float(min(fault.end_utc_ms - fault.start_utc_ms, 30 * 86_400_000))
