"""A pump's readings as arrays: evenly thinned, with gaps known, so that each rule is a few vector lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.facts import PumpFacts
from api.analytics.trusted import RUNNING_SPEED_RPM

Floats = NDArray[np.float64]
Times = NDArray[np.int64]
Mask = NDArray[np.bool_]

BIN_S: Final = 10
"""Readings closer than this are averaged: no fault in a pipe is faster, and noise is not evidence."""
_THIN_BELOW_S: Final = 7.5
_GAP_INTERVALS: Final = 3.5
"""Time between readings beyond so many intervals is a gap: one or two lost replies are not."""
_SHORTEST_GAP_S: Final = 45.0
_LAST_VALUE: Final = ("fault_code", "starts", "energy_kwh", "run_time_h", "status_word")
"""A code or a counter has no mean; of those read within one bin the highest stands."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """Readings of one pump in time order.

    ``time_utc_ms`` int64 (n,), the columns float64 (n,), NaN where nothing was reported; ``interval_s``
    the usual time between readings [s]; ``piece`` (n,) counts up at every gap, so that two readings of
    one piece have no gap between them; ``running`` (n,) whether the shaft turned.
    """

    pump: str
    time_utc_ms: Times
    columns: dict[str, Floats]
    interval_s: float
    piece: NDArray[np.int64]
    running: Mask

    def __len__(self) -> int:
        """Return the number of readings."""
        return len(self.time_utc_ms)

    def __getitem__(self, name: str) -> Floats:
        """Return the column of this name, all NaN if the frame had none."""
        return self.columns.get(name, np.full(len(self), np.nan))

    @property
    def end_utc_ms(self) -> int:
        """The last reading's time [ms]."""
        return int(self.time_utc_ms[-1])


def track_of(frame: pd.DataFrame, facts: PumpFacts) -> Track:
    """Return the frame's readings as a track.

    ``frame`` has an ascending int64 index ``time_utc_ms`` and columns named as the quantities.
    """
    times = frame.index.to_numpy(dtype=np.int64)
    columns = {str(name): frame[name].to_numpy(dtype=np.float64) for name in frame.columns}
    interval_s = _interval_s(times, facts)
    if interval_s < _THIN_BELOW_S and len(times) > 1:
        times, columns = _thinned(times, columns)
        interval_s = float(BIN_S)
    return Track(
        pump=facts.pump,
        time_utc_ms=times,
        columns=columns,
        interval_s=interval_s,
        piece=_pieces(times, interval_s),
        running=_running(columns, len(times)),
    )


def _interval_s(times: Times, facts: PumpFacts) -> float:
    """Return the usual time between readings [s]: as seen, else as stated, else a minute."""
    if len(times) > 2:
        return float(np.median(np.diff(times))) / 1000
    return facts.interval_s or 60.0


def _thinned(times: Times, columns: dict[str, Floats]) -> tuple[Times, dict[str, Floats]]:
    """Return means over bins aligned to the clock, so that every cut of the data has the same bins."""
    bins = times // (BIN_S * 1000)
    starts = np.flatnonzero(np.diff(bins, prepend=bins[0] - 1))
    return times[starts], {name: _of_bins(name, values, starts) for name, values in columns.items()}


def _of_bins(name: str, values: Floats, starts: NDArray[np.intp]) -> Floats:
    if name in _LAST_VALUE:
        return np.fmax.reduceat(values, starts)
    present = np.isfinite(values)
    counts = np.add.reduceat(present.astype(np.float64), starts)
    sums = np.add.reduceat(np.where(present, values, 0.0), starts)
    return np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)


def gap_s(interval_s: float) -> float:
    """Return the time between two readings from which on nothing is known in between [s].

    >>> gap_s(60.0)
    210.0
    """
    return max(_GAP_INTERVALS * interval_s, _SHORTEST_GAP_S)


def _pieces(times: Times, interval_s: float) -> NDArray[np.int64]:
    if len(times) == 0:
        return np.zeros(0, dtype=np.int64)
    return np.cumsum(np.diff(times, prepend=times[0]) > gap_s(interval_s) * 1000).astype(np.int64)


def _running(columns: dict[str, Floats], count: int) -> Mask:
    """Return where the shaft turns; where speed is unknown, where power is drawn and water moves."""
    nothing = np.full(count, np.nan)
    speed = columns.get("speed_rpm", nothing)
    drawn = (columns.get("power_w", nothing) > 0) & (columns.get("flow_m3h", nothing) > 0)
    return np.where(np.isnan(speed), drawn, speed > RUNNING_SPEED_RPM).astype(np.bool_)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Readings ``first`` to ``last`` (both included) of a track, without a gap between them."""

    first: int
    last: int

    @property
    def readings(self) -> slice:
        """The place of these readings in the track's arrays."""
        return slice(self.first, self.last + 1)


def stretches(track: Track, mask: Mask) -> list[Stretch]:
    """Return the longest stretches in which ``mask`` (n,) holds, each within one piece."""
    if not mask.any():
        return []
    before = np.flatnonzero(mask & ~_carries_on(track, mask))
    carries = np.append(_carries_on(track, mask)[1:], False)
    after = np.flatnonzero(mask & ~carries)
    return [Stretch(first=int(a), last=int(b)) for a, b in zip(before, after, strict=True)]


def _carries_on(track: Track, mask: Mask) -> Mask:
    """Return where a reading holds, as the one before it does, with no gap between the two."""
    carries = np.zeros(len(mask), dtype=np.bool_)
    carries[1:] = mask[1:] & mask[:-1] & (np.diff(track.piece) == 0)
    return carries


def held(track: Track, mask: Mask, hold_s: float) -> list[Stretch]:
    """Return the stretches of ``mask`` that lasted ``hold_s`` [s] or longer, of two readings or more."""
    return [
        stretch
        for stretch in stretches(track, mask)
        if stretch.last > stretch.first and seconds(track, stretch) >= hold_s
    ]


def seconds(track: Track, stretch: Stretch) -> float:
    """Return the time from the first to the last reading of a stretch [s]."""
    return float(track.time_utc_ms[stretch.last] - track.time_utc_ms[stretch.first]) / 1000


def seconds_since_start(track: Track) -> Floats:
    """Return how long the shaft has turned without a stop or a gap [s], (n,); 0 while it stands."""
    starting = track.running & ~_carries_on(track, track.running)
    places = np.where(starting, np.arange(len(track)), 0)
    since = np.maximum.accumulate(places) if len(track) else places
    elapsed = (track.time_utc_ms - track.time_utc_ms[since]) / 1000 if len(track) else np.zeros(0)
    return np.where(track.running, elapsed, 0.0)


def without_single_holes(track: Track, mask: Mask) -> Mask:
    """Return ``mask`` with each single missing reading filled: one odd reading ends nothing."""
    filled = mask.copy()
    if len(mask) > 2:
        same_piece = track.piece[2:] == track.piece[:-2]
        filled[1:-1] |= mask[2:] & mask[:-2] & same_piece & track.running[1:-1]
    return filled
