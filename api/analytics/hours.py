"""One row an hour: time, energy and volume seen, and the sums that make the hour one observation.

The pump model ``H = a n² + b n Q + c Q²`` and ``P = d n³ + e n² Q + f n Q² + g n + h`` is linear in its
coefficients, so an hour's sums of the regressors, of H and of P are one exact observation of it, however
the pump moved within the hour. All but the extremes and where a counter stood adds up: rows of parts of an
hour may be summed.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.counter_sums import COUNTER_COLUMNS, counter_sums
from api.analytics.facts import PumpFacts
from api.analytics.spans import HOUR_MS
from api.analytics.trusted import CURVE_CHANNELS, gap_limit_ms, running, trusted

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

JOULES_A_KWH: Final = 3.6e6

TIME_COLUMNS: Final = (
    "seconds_seen",
    "seconds_running",
    "starts",
    "energy_kwh",
    "volume_m3",
    "paired_energy_kwh",
    "paired_volume_m3",
    "lifted_energy_kwh",
    "lifted_volume_m3",
    "volume_head_m4",
    "readings",
)
CHANNEL_COLUMNS: Final = tuple(
    f"{channel}_{what}" for channel in CURVE_CHANNELS for what in ("min", "max", "sum", "count")
)
REGRESSOR_COLUMNS: Final = (
    *("n_trusted", "sum_n", "sum_q", "sum_n2", "sum_nq", "sum_q2", "sum_n3", "sum_n2q", "sum_nq2"),
    *("sum_h", "sum_p", "sum_hh", "sum_hn", "sum_hq", "sum_pp", "sum_pn", "sum_pq"),
    *("n_temperature", "sum_temperature_c"),
)
HOUR_COLUMNS: Final = TIME_COLUMNS + CHANNEL_COLUMNS + REGRESSOR_COLUMNS + COUNTER_COLUMNS


def hour_rows(frame: pd.DataFrame, facts: PumpFacts) -> pd.DataFrame:
    """Sum one pump's readings hour by hour.

    ``frame`` has the index ``time_utc_ms`` (int64, strictly ascending) and the quantities as float columns.
    The result has the index ``hour_utc_ms``, the start of each UTC hour with at least one reading or seen
    second (none for the hours of a gap), and ``HOUR_COLUMNS`` as float64:

    - ``seconds_seen`` [s], ``seconds_running`` [s]: between readings no further apart than the gap limit;
    - ``starts``: beginnings seen, by the drive's counter where it has one;
    - ``energy_kwh``, ``volume_m3``: by the trapezoid rule over that time, split at the hour;
    - ``paired_energy_kwh``, ``paired_volume_m3``: over the time in which power and flow were both known;
    - ``lifted_energy_kwh``, ``lifted_volume_m3``, ``volume_head_m4`` (integral of flow times head [m3 m]):
      over the time in which power, flow and head were all known;
    - ``<channel>_min/_max/_sum/_count`` over all readings (NaN minimum and maximum where there is none);
    - ``n_trusted`` and sums over trusted readings, n in rpm, q in m3/h, h in m, p in W: ``sum_n2q`` is the
      sum of n² q. ``sum_hh`` to ``sum_pq`` are second moments, from which scatter is told;
    - the drive's own counters, see :func:`api.analytics.counter_sums.counter_sums` (NaN where not read);
    - ``n_temperature``, ``sum_temperature_c`` over trusted readings with a fluid temperature.

    A reading changes the row of its own hour and of the neighbours within the gap limit: to renew a row
    give the readings from an hour before to an hour after it, and keep that row alone.
    """
    if frame.empty:
        no_hours = _hour_index(np.array([], dtype=np.int64))
        return pd.DataFrame(columns=list(HOUR_COLUMNS), index=no_hours, dtype=float)
    regressors = _regressor_sums(frame, trusted(frame, facts))
    parts = [_time_sums(frame, facts), _channel_sums(frame), regressors, counter_sums(frame)]
    rows = pd.concat(parts, axis=1).reindex(columns=list(HOUR_COLUMNS))
    rows.index = _hour_index(rows.index.to_numpy(dtype=np.int64))
    kept_empty = [name for name in HOUR_COLUMNS if name.endswith(("_min", "_max", "_first", "_last"))]
    rows = rows.fillna({name: 0.0 for name in HOUR_COLUMNS if name not in kept_empty}).sort_index()
    return rows[(rows["readings"] > 0) | (rows["seconds_seen"] > 0)]


def _hour_index(hours: IntArray) -> pd.Index[int]:
    return pd.Index(hours, dtype=np.int64, name="hour_utc_ms")


def _by_hour(times_utc_ms: IntArray, columns: dict[str, FloatArray]) -> pd.DataFrame:
    hours = times_utc_ms // HOUR_MS * HOUR_MS
    starts = np.flatnonzero(np.append(True, hours[1:] != hours[:-1]))
    sums = {name: np.add.reduceat(values, starts) for name, values in columns.items()}
    return pd.DataFrame(sums, index=hours[starts])


def _time_sums(frame: pd.DataFrame, facts: PumpFacts) -> pd.DataFrame:
    times = frame.index.to_numpy(dtype=np.int64)
    readings = _by_hour(times, {"readings": np.ones(len(times))})
    if len(times) < 2:
        return readings
    limit_ms = gap_limit_ms(times, facts)
    seen = np.diff(times) <= limit_ms
    starts = _by_hour(times[1:], {"starts": np.where(seen, _starts(frame), 0.0)})
    return pd.concat([readings, starts, _integrals(frame, times, limit_ms)], axis=1)


def _starts(frame: pd.DataFrame) -> FloatArray:
    turning = running(frame)
    seen = (turning[1:] & ~turning[:-1]).astype(float)
    counted = np.diff(frame["starts"].to_numpy(dtype=float))
    # A counter that falls was reset, so that only what was seen counts.
    return np.where(counted >= 0, np.maximum(counted, seen), seen)


def _integrals(frame: pd.DataFrame, times: IntArray, limit_ms: float) -> pd.DataFrame:
    grid = _with_hour_marks(times)
    before = np.searchsorted(times, grid[:-1], side="right") - 1
    seconds = np.where((times[before + 1] - times[before]) <= limit_ms, np.diff(grid) / 1000, 0.0)
    power = np.interp(grid, times, frame["power_w"].to_numpy())
    flow = np.interp(grid, times, frame["flow_m3h"].to_numpy())
    head = np.interp(grid, times, frame["head_m"].to_numpy())
    energy_kwh = _trapezoid(power, seconds) / JOULES_A_KWH
    volume_m3 = _trapezoid(flow, seconds) / 3600
    volume_head_m4 = _trapezoid(flow * head, seconds) / 3600
    paired = ~np.isnan(energy_kwh + volume_m3)
    lifted = paired & ~np.isnan(volume_head_m4)
    columns = {
        "seconds_seen": seconds,
        "seconds_running": seconds * running(frame)[before],
        "energy_kwh": np.nan_to_num(energy_kwh),
        "volume_m3": np.nan_to_num(volume_m3),
        "paired_energy_kwh": np.where(paired, energy_kwh, 0.0),
        "paired_volume_m3": np.where(paired, volume_m3, 0.0),
        "lifted_energy_kwh": np.where(lifted, energy_kwh, 0.0),
        "lifted_volume_m3": np.where(lifted, volume_m3, 0.0),
        "volume_head_m4": np.where(lifted, volume_head_m4, 0.0),
    }
    return _by_hour(grid[:-1], columns)


def _with_hour_marks(times: IntArray) -> IntArray:
    first_mark = (times[0] // HOUR_MS + 1) * HOUR_MS
    return np.union1d(times, np.arange(first_mark, times[-1], HOUR_MS, dtype=np.int64))


def _trapezoid(values: FloatArray, seconds: FloatArray) -> FloatArray:
    return (values[1:] + values[:-1]) / 2 * seconds


def _channel_sums(frame: pd.DataFrame) -> pd.DataFrame:
    hours = frame.index.to_numpy(dtype=np.int64) // HOUR_MS * HOUR_MS
    grouped = frame[list(CURVE_CHANNELS)].groupby(hours)
    parts = [
        pd.DataFrame(getattr(grouped, what)(), dtype=float).add_suffix(f"_{what}")
        for what in ("min", "max", "sum", "count")
    ]
    return pd.concat(parts, axis=1)


def _regressor_sums(frame: pd.DataFrame, may_judge: NDArray[np.bool_]) -> pd.DataFrame:
    n, p, q, h = (np.where(may_judge, frame[name].to_numpy(), 0.0) for name in CURVE_CHANNELS)
    warm = frame["fluid_temperature_c"].to_numpy(dtype=float)
    has_warmth = may_judge & ~np.isnan(warm)
    columns = {
        **{"n_trusted": may_judge.astype(float), "sum_n": n, "sum_q": q, "sum_h": h, "sum_p": p},
        **{"sum_n2": n * n, "sum_nq": n * q, "sum_q2": q * q},
        **{"sum_n3": n**3, "sum_n2q": n * n * q, "sum_nq2": n * q * q},
        **{"sum_hh": h * h, "sum_hn": h * n, "sum_hq": h * q},
        **{"sum_pp": p * p, "sum_pn": p * n, "sum_pq": p * q},
        **{"n_temperature": has_warmth.astype(float), "sum_temperature_c": np.where(has_warmth, warm, 0.0)},
    }
    return _by_hour(frame.index.to_numpy(dtype=np.int64), columns)
