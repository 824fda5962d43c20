"""Why a pump has no curve of its own: a reason that a person can end, not only time."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.curve import LEAST_DAYS, LEAST_HOURS, baseline_start_utc_ms, reads_a_pump
from api.analytics.energy import units_contradict
from api.analytics.facts import PumpFacts
from api.analytics.flow_range import at_flow_range
from api.analytics.observations import LEAST_RUNNING_S, LEAST_SHARE, enough, observations
from api.analytics.spans import DAY_MS
from api.analytics.trusted import CURVE_CHANNELS, RUNNING_SPEED_RPM, SETTLE_S

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOSTLY: Final = 0.9
"""What holds in so many of the running hours is how the pump is read, not a moment of it."""

STILL: Final = 0.5
"""A flow that is one value to the last digit in so many hours' means does not follow the pump."""


def why_no_curve(hours: pd.DataFrame, facts: PumpFacts) -> str:
    """Return the code (of ``NOT_ASSESSABLE_REASONS``) for which these hours gave no curve.

    ``hours`` are hour rows; only those since the baseline began count. ``baseline_too_short`` where nothing
    but time is missing.
    """
    since = hours[hours.index >= baseline_start_utc_ms(facts)]
    if any(float(since[f"{channel}_count"].sum()) == 0 for channel in CURVE_CHANNELS):
        return "channel_missing"
    ran = since[since["seconds_running"] >= LEAST_RUNNING_S]
    if ran.empty:
        return "speed_reads_zero" if _drawn_without_speed(since) else "baseline_too_short"
    return _channel_at_fault(ran) or _unfit(since, ran, facts)


def _drawn_without_speed(hours: pd.DataFrame) -> bool:
    drawn = hours[(hours["power_w_max"] > 0) & (hours["flow_m3h_max"] > 0)]
    return len(drawn) >= LEAST_HOURS and bool((drawn["speed_rpm_max"] <= RUNNING_SPEED_RPM).all())


def _channel_at_fault(ran: pd.DataFrame) -> str | None:
    if _mostly(ran["flow_m3h_max"].to_numpy() <= 0):
        return "flow_has_wrong_sign" if _mostly(ran["flow_m3h_sum"].to_numpy() < 0) else "flow_reads_zero"
    settled = ran[ran["n_trusted"] > 0]
    for channel, letter in (("head", "h"), ("power", "p")):
        mean, scatter = _mean_and_scatter(settled, letter)
        if _mostly((mean < 0) & (np.abs(mean) > scatter)):
            return f"{channel}_has_wrong_sign"
        if _mostly(np.abs(mean) <= scatter):
            return f"{channel}_reads_zero"
    return None


def _mean_and_scatter(settled: pd.DataFrame, letter: str) -> tuple[FloatArray, FloatArray]:
    count = settled["n_trusted"].to_numpy(dtype=float)
    mean = settled[f"sum_{letter}"].to_numpy(dtype=float) / count
    mean_square = settled[f"sum_{letter}{letter}"].to_numpy(dtype=float) / count
    return mean, np.sqrt(np.maximum(mean_square - mean**2, 0.0))


def _unfit(since: pd.DataFrame, ran: pd.DataFrame, facts: PumpFacts) -> str:
    if units_contradict(since, facts.density_kg_m3) is not None:
        return "units_contradict"
    days = np.unique(ran.index.to_numpy(dtype=np.int64) // DAY_MS)
    if len(ran) < LEAST_HOURS or len(days) < LEAST_DAYS:
        return "baseline_too_short"
    seen = observations(since)
    if len(seen) < LEAST_SHARE * len(ran):
        return _too_few(since, ran)
    if not _mostly(reads_a_pump(seen)):
        return "too_restless"
    return "flow_stands_still" if _stands_still(seen.flow_m3h, STILL) else "baseline_too_short"


def _stands_still(flow_m3h: FloatArray, share: float) -> bool:
    _, counts = np.unique(np.round(flow_m3h, 9), return_counts=True)
    return int(counts.max()) > share * len(flow_m3h)


def _too_few(since: pd.DataFrame, ran: pd.DataFrame) -> str:
    hidden = at_flow_range(since, since.index.to_numpy(dtype=np.int64) // DAY_MS) & enough(since)
    if int(hidden.sum()) > LEAST_SHARE * len(ran):
        kept = since[enough(since)]
        flow = (kept["sum_q"] / kept["n_trusted"]).to_numpy(dtype=float)
        return "flow_stands_still" if _stands_still(flow, MOSTLY) else "flow_meter_at_its_range"
    still = [ran[f"{channel}_min"] == ran[f"{channel}_max"] for channel in CURVE_CHANNELS]
    if _mostly(np.logical_and.reduce(still)):
        return "readings_stand_still"
    run_s = float(ran["seconds_running"].sum()) / max(float(ran["starts"].sum()), 1.0)
    return "runs_too_short" if run_s < 2 * SETTLE_S else "too_few_readings"


def _mostly(mask: BoolArray) -> bool:
    return len(mask) > 0 and float(np.mean(mask)) >= MOSTLY
