"""What each picture shows: the own curve with readings on it, trends, energy by week."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from api.analysis.frames import frame_between, usual_interval_s
from api.analysis.pump_pass import curve_of
from api.analytics.facts import Provenance, PumpFacts
from api.analytics.trusted import RUNNING_SPEED_RPM
from api.answers.buckets import (
    GAP_INTERVALS,
    MOST_POINTS,
    bucket_width_ms,
    bucketed_series,
    hour_series,
    raw_series,
)
from api.answers.curve_lines import curve_lines, earlier_lines, region_patches
from api.answers.data_sheet import data_sheet_picture
from api.answers.findings import spans
from api.answers.old import old_s
from api.answers.pages import services
from api.answers.pump_row import is_running
from api.answers.source import Source
from api.answers.weeks import pump_weeks
from api.store.stored_finding import State, StoredFinding
from collector.quantities import CHANNELS
from collector.reading import Reading
from collector.site import Pump
from collector.store import HOUR_MS
from dashboards.addresses import RANGES
from dashboards.views import CurvePicture, DutyPoint, EnergyPicture, TrendPicture, TrendSeries, UnitSystem

LONGEST_RAW_MS: Final = 8 * 24 * HOUR_MS
"""Longer ranges come from hour rows: the smallest and largest reading of each hour are kept in them."""


SHORTEST_BESIDE_MS: Final = 6 * HOUR_MS
LONGEST_BESIDE_MS: Final = 28 * 24 * HOUR_MS
"""Least and most time that is shown before and after a finding."""


@dataclass(frozen=True, slots=True)
class Range:
    """From ``start_utc_ms`` up to ``end_utc_ms`` (exclusive)."""

    start_utc_ms: int
    end_utc_ms: int

    @property
    def is_long(self) -> bool:
        """Whether hour rows stand for readings."""
        return self.end_utc_ms - self.start_utc_ms > LONGEST_RAW_MS


def range_of(source: Source, pump: Pump, name: str) -> Range:
    """Return a range named in ``dashboards.addresses.RANGES`` back from the pump's newest reading."""
    ends = source.store.span(pump.name)
    if ends is None:
        return Range(0, 1)
    days = RANGES[name]
    start = ends[0] if days == 0 else max(ends[0], ends[1] - days * 24 * HOUR_MS)
    return Range(start, ends[1] + 1)


def range_around(source: Source, pump: Pump, finding: StoredFinding) -> Range:
    """Return the time of a finding with as much before and after it, as far as there are readings."""
    ends = source.store.span(pump.name)
    if ends is None:
        return Range(0, 1)
    first = finding.finding.first_utc_ms
    last = ends[1] if finding.state is State.ACTIVE else min(finding.finding.last_utc_ms, ends[1])
    beside = min(max(last - first, SHORTEST_BESIDE_MS), LONGEST_BESIDE_MS)
    return Range(max(ends[0], first - beside), min(ends[1], last + beside) + 1)


def trend_picture(source: Source, pump: Pump, within: Range, units: UnitSystem) -> TrendPicture:
    """Return the trends of a pump over a range."""
    stored = source.api_store.findings(pump.name)
    return TrendPicture(
        pump=pump.name,
        units=units,
        time_zone=source.site.time_zone,
        start_utc_ms=within.start_utc_ms,
        end_utc_ms=within.end_utc_ms,
        series=_long_series(source, pump, within) if within.is_long else _short_series(source, pump, within),
        findings=spans(stored, within.start_utc_ms, within.end_utc_ms),
        services=services(source, pump),
    )


def _long_series(source: Source, pump: Pump, within: Range) -> tuple[TrendSeries, ...]:
    first = within.start_utc_ms - within.start_utc_ms % HOUR_MS
    hours = source.api_store.hours(pump.name, first, within.end_utc_ms)
    if hours.empty:
        return ()
    length = (int(hours.index[-1]) - int(hours.index[0])) // HOUR_MS + 1
    hours_a_bucket = -(-length // (MOST_POINTS - 1))
    return tuple(
        hour_series(hours, name, hours_a_bucket) for name in CHANNELS if (hours[f"{name}_count"] > 0).any()
    )


def _short_series(source: Source, pump: Pump, within: Range) -> tuple[TrendSeries, ...]:
    frame = frame_between(source.store, pump.name, within.start_utc_ms, within.end_utc_ms, CHANNELS)
    interval_ms = (usual_interval_s(frame) or 60.0) * 1000
    seen = [name for name in CHANNELS if frame[name].notna().any()]
    if len(frame) <= MOST_POINTS // 2:
        return tuple(raw_series(frame, name, GAP_INTERVALS * interval_ms) for name in seen)
    width_ms = bucket_width_ms(within.start_utc_ms, within.end_utc_ms, interval_ms)
    return tuple(bucketed_series(frame, name, width_ms) for name in seen)


def curve_picture(source: Source, pump: Pump, name: str, units: UnitSystem) -> CurvePicture:
    """Return the readings of a named range on the pump's own curve."""
    return curve_picture_within(source, pump, range_of(source, pump, name), units)


def curve_picture_within(source: Source, pump: Pump, within: Range, units: UnitSystem) -> CurvePicture:
    """Return the readings of a range on the pump's own curve."""
    facts = source.facts(pump)
    points = _duty_points(source, pump, within)
    curve = curve_of(source.api_store, facts)
    return CurvePicture(
        pump=pump.name,
        units=units,
        time_zone=source.site.time_zone,
        time_utc_ms=points.index.to_numpy(dtype=np.int64),
        speed_rpm=points["speed_rpm"].to_numpy(),
        flow_m3h=points["flow_m3h"].to_numpy(),
        head_m=points["head_m"].to_numpy(),
        power_w=points["power_w"].to_numpy(),
        lines=curve_lines(curve, points) if curve else (),
        earlier=earlier_lines(source.api_store, facts, points),
        region=region_patches(curve) if curve else (),
        now=duty_now(source, pump),
        is_estimated=_is_estimated(facts),
        is_hourly=within.is_long,
        data_sheet=data_sheet_picture(pump, curve, points),
        findings=spans(source.api_store.findings(pump.name), within.start_utc_ms, within.end_utc_ms),
        services=services(source, pump),
    )


def _is_estimated(facts: PumpFacts) -> bool:
    return Provenance.ESTIMATED in (facts.flow, facts.head)


def _duty_points(source: Source, pump: Pump, within: Range) -> pd.DataFrame:
    """Return running readings, or hours' means over a long range, thinned evenly to what can be seen."""
    if within.is_long:
        points = _hour_means(source.api_store.hours(pump.name, within.start_utc_ms, within.end_utc_ms))
    else:
        frame = frame_between(source.store, pump.name, within.start_utc_ms, within.end_utc_ms, CHANNELS)
        points = frame[frame["speed_rpm"] > RUNNING_SPEED_RPM]
    whole = points.dropna(subset=["flow_m3h", "head_m"])
    return whole.iloc[:: -(-len(whole) // MOST_POINTS) or 1]


def _hour_means(hours: pd.DataFrame) -> pd.DataFrame:
    if hours.empty:
        return pd.DataFrame(columns=list(CHANNELS), dtype=float)
    trusted = hours[hours["n_trusted"] > 0]
    columns = {"speed_rpm": "sum_n", "power_w": "sum_p", "flow_m3h": "sum_q", "head_m": "sum_h"}
    return pd.DataFrame({name: trusted[sums] / trusted["n_trusted"] for name, sums in columns.items()})


def duty_now(source: Source, pump: Pump) -> DutyPoint | None:
    """Return where a pump runs, or ran when its readings ended; ``None`` if it stands or does not say."""
    return _duty_of(source.store.latest(pump.name), is_old=old_s(source, pump) > 0)


def _duty_of(reading: Reading | None, *, is_old: bool) -> DutyPoint | None:
    if reading is None or not is_running(reading):
        return None
    values = (reading.speed_rpm, reading.flow_m3h, reading.head_m, reading.power_w)
    if any(value is None for value in values):
        return None
    speed, flow, head, power = (float(value or 0.0) for value in values)
    return DutyPoint(
        time_utc_ms=reading.time_utc_ms,
        is_old=is_old,
        speed_rpm=speed,
        flow_m3h=flow,
        head_m=head,
        power_w=power,
    )


def energy_picture(source: Source, pump: Pump, units: UnitSystem) -> EnergyPicture:
    """Return energy per volume of a pump, week by week."""
    return EnergyPicture(
        pump=pump.name,
        units=units,
        time_zone=source.site.time_zone,
        weeks=pump_weeks(source, pump),
        services=services(source, pump),
    )
