"""A drive's own counters beside what was integrated from its readings."""

from __future__ import annotations

import math
from typing import Final

import pandas as pd

from api.analytics.energy.counter import Counted, counted, reconciled
from api.answers.source import Source
from collector.site import Pump
from collector.store import HOUR_MS
from dashboards.counter_views import CounterNotice, Counters

ACROSS_MS: Final = 7 * 24 * HOUR_MS
"""A gap across the period's border is shared up to this length; a longer one is no knowledge of a week."""
_HOURS_AN_HOUR: Final = 1.0


def counters(source: Source, pump: Pump, start_utc_ms: int, end_utc_ms: int) -> Counters | None:
    """Return what the pump's counters say from start up to end (exclusive), ``None`` where it has none."""
    around = source.api_store.hours(pump.name, start_utc_ms - ACROSS_MS, end_utc_ms + ACROSS_MS)
    if around.empty:
        return None
    most_kw = _most_kw(around, pump)
    energy = None if most_kw is None else counted(around, "energy_kwh", start_utc_ms, end_utc_ms, most_kw)
    run_time = counted(around, "run_time_h", start_utc_ms, end_utc_ms, _HOURS_AN_HOUR)
    if energy is None and run_time is None:
        return None
    # The hour after the last is needed to know how far the counter came in it.
    within = around[(around.index >= start_utc_ms) & (around.index <= end_utc_ms)]
    beside = None if most_kw is None else reconciled(within, most_kw)
    return Counters(
        energy_kwh=None if energy is None else energy.total,
        across_gaps_kwh=0.0 if energy is None else energy.across_gaps,
        difference=None if beside is None else beside.difference,
        hours_compared=0 if beside is None else beside.hours,
        is_within_resolution=beside is not None and beside.is_within_resolution,
        resolution_kwh=0.0 if beside is None else beside.resolution_kwh,
        run_time_h=None if run_time is None else run_time.total,
        notices=(*_notices("energy_kwh", energy), *_notices("run_time_h", run_time)),
    )


def _most_kw(hours: pd.DataFrame, pump: Pump) -> float | None:
    """Return the largest power that is known of the pump [kW], ``None`` where none is."""
    seen = float(hours["power_w_max"].max()) if "power_w_max" in hours else math.nan
    known = [power for power in (seen, pump.rated_power_w) if power is not None and power > 0]
    return max(known) / 1000 if known else None


def _notices(counter: str, found: Counted | None) -> tuple[CounterNotice, ...]:
    falls = () if found is None else found.falls
    return tuple(CounterNotice(counter=counter, time_utc_ms=time, what=fall.value) for time, fall in falls)
