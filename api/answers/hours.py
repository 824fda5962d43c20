"""Hour rows as a person can add them up: the rows that each number of a week is a sum of."""

from __future__ import annotations

import csv
import io
from typing import Final

import numpy as np

from api.answers.densities import densities_kg_m3
from api.answers.findings import iso_utc
from api.answers.source import Source
from collector.site import Pump

COLUMNS: Final = {
    "seconds_seen": "seconds_seen_s",
    "seconds_running": "seconds_running_s",
    "starts": "starts",
    "readings": "readings",
    "energy_kwh": "energy_kwh",
    "volume_m3": "volume_m3",
    "paired_energy_kwh": "energy_with_flow_kwh",
    "paired_volume_m3": "volume_with_power_m3",
    "lifted_energy_kwh": "energy_with_flow_and_head_kwh",
    "lifted_volume_m3": "volume_with_power_and_head_m3",
    "volume_head_m4": "volume_times_head_m3_m",
    "energy_kwh_first": "counter_first_kwh",
    "energy_kwh_last": "counter_last_kwh",
    "energy_kwh_rise": "counter_rise_kwh",
    "energy_kwh_falls": "counter_falls",
    "run_time_h_first": "run_time_first_h",
    "run_time_h_last": "run_time_last_h",
}
"""Stored name to the one in the file, whose ending is its unit."""
DIGITS: Final = 9


def hours_csv(source: Source, pump: Pump, start_utc_ms: int, end_utc_ms: int) -> str:
    """Return a pump's hour rows from start up to end (exclusive) as CSV in SI units; a gap has no row.

    The last column is the fluid's density [kg/m³] by its temperature, empty where that was not measured.
    """
    rows = source.api_store.hours(pump.name, start_utc_ms, end_utc_ms)
    text = io.StringIO()
    lines = csv.writer(text, lineterminator="\n")
    lines.writerow(["hour_utc", *COLUMNS.values(), "density_kg_m3"])
    densities = densities_kg_m3(pump, [rows])
    density = np.full(len(rows), np.nan) if densities is None else densities[0]
    kept = rows.reindex(columns=list(COLUMNS)).to_numpy(dtype=float)
    for time, values, its_density in zip(rows.index.tolist(), kept, density, strict=True):
        lines.writerow([iso_utc(time), *map(_shown, values), _shown(its_density)])
    return text.getvalue()


def _shown(value: float) -> str:
    return f"{value:.{DIGITS}g}" if np.isfinite(value) else ""
