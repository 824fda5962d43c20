"""One pump in a line: what it does now, what is wrong, what it costs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd

from api.analysis.failed_pump import noted_failure
from api.analysis.pump_pass import PumpMark, curve_of, settings_of
from api.analysis.write_result import read_mark
from api.analytics.curve import Curve
from api.analytics.energy import wire_to_water_efficiency
from api.analytics.facts import PumpFacts
from api.analytics.finding import Kind
from api.analytics.trusted import RUNNING_SPEED_RPM
from api.answers.behind import is_behind
from api.answers.findings import cards
from api.answers.old import old_s
from api.answers.source import Source
from api.answers.weeks import ratio_of_sums
from api.store.stored_finding import State, StoredFinding
from collector.quantities import QUANTITIES
from collector.reading import Quality, Reading, unpack_quality
from collector.site import Pump
from collector.store import HOUR_MS
from dashboards.views import FloatArray, LiveValue, PumpRow, PumpState

DAY_MS: Final = 24 * HOUR_MS
WEEK_MS: Final = 7 * DAY_MS
QUIET_LINE_DAYS: Final = 28
LATE_AFTER_S: Final = 60.0
"""A bus is asked again within seconds; a minute without an answer is one to show."""
_HIDDEN: Final = frozenset({"status_word", "starts", "run_time_h", "energy_kwh"})


def pump_row(source: Source, pump: Pump, stored: Sequence[StoredFinding] | None = None) -> PumpRow:
    """Return a pump's row; ``stored`` are its active findings where the caller has them already."""
    if stored is None:
        stored = source.api_store.findings(pump.name, [State.ACTIVE])
    facts = source.facts(pump)
    reading = source.store.latest(pump.name)
    failure = _why_no_readings(source, pump, reading)
    curve = curve_of(source.api_store, facts)
    hours = _recent_hours(source, pump)
    mark = read_mark(source.api_store, pump.name)
    end = hours.index[-1] + HOUR_MS if len(hours) else 0
    failed = noted_failure(source.api_store, pump.name)
    age_s = old_s(source, pump)
    return PumpRow(
        name=pump.name,
        state=_state(reading, failure, age_s),
        failure_kind=failure,
        location=pump.location,
        system=pump.system,
        duty=pump.duty,
        last_reading_utc_ms=reading.time_utc_ms if reading else None,
        live=live_values(reading, facts),
        findings=cards(source, stored, facts),
        assessable_share=assessable_share(hours, mark, stored),
        week_kwh_per_m3=ratio_of_sums(hours, end - WEEK_MS, end),
        week_before_kwh_per_m3=ratio_of_sums(hours, end - 2 * WEEK_MS, end - WEEK_MS),
        head_against_curve=_head_against_curve(reading, curve),
        daily_energy_kwh=_daily_energy_kwh(hours, end),
        has_own_curve=curve is not None,
        is_analysed=not is_behind(source, pump, mark),
        analysis_failure=failed.sentence if failed else "",
        is_restated=mark.settings not in (0, settings_of(facts)),
        old_s=age_s,
    )


def _recent_hours(source: Source, pump: Pump) -> pd.DataFrame:
    last = source.api_store.last_hour(pump.name)
    if last is None:
        return pd.DataFrame()
    return source.api_store.hours(pump.name, last - QUIET_LINE_DAYS * DAY_MS + HOUR_MS)


def _state(reading: Reading | None, failure: str, age_s: float) -> PumpState:
    if failure:
        return "no_reply"
    if reading is None:
        return "no_data"
    if age_s:
        return "old"
    return "running" if is_running(reading) else "standing"


def is_running(reading: Reading) -> bool:
    """Return whether the shaft turns; where speed is unknown, whether power is drawn and water moves."""
    if reading.speed_rpm is not None:
        return reading.speed_rpm > RUNNING_SPEED_RPM
    return (reading.power_w or 0) > 0 and (reading.flow_m3h or 0) > 0


def _why_no_readings(source: Source, pump: Pump, reading: Reading | None) -> str:
    """Return how the newest scan failed, empty where none did: the collector's silence is not the drive's."""
    now = source.clock.now_utc_ms()
    last = reading.time_utc_ms if reading else now - DAY_MS
    if pump.bus is None or now - last < LATE_AFTER_S * 1000:
        return ""
    failures = source.store.failures(pump.name, max(last, now - DAY_MS), now + DAY_MS)
    return str(failures[-1].kind) if failures else ""


def live_values(reading: Reading | None, facts: PumpFacts) -> tuple[LiveValue, ...]:
    """Return the newest value of each quantity the drive reports, and the efficiency they make."""
    if reading is None:
        return ()
    qualities = unpack_quality(reading.quality)
    origin = {
        "speed_rpm": str(facts.speed),
        "power_w": str(facts.power),
        "flow_m3h": str(facts.flow),
        "head_m": str(facts.head),
    }
    values = [
        LiveValue(
            quantity=each.name,
            value=getattr(reading, each.name),
            quality=qualities[each.name].name.lower(),
            provenance=origin.get(each.name, ""),
        )
        for each in QUANTITIES
        if each.name not in _HIDDEN and _was_asked_for(reading, each.name, qualities[each.name])
    ]
    return (*values, *_efficiency(reading, facts))


def _was_asked_for(reading: Reading, name: str, quality: Quality) -> bool:
    return getattr(reading, name) is not None or quality is not Quality.GOOD


def _efficiency(reading: Reading, facts: PumpFacts) -> tuple[LiveValue, ...]:
    flow, head, power = reading.flow_m3h, reading.head_m, reading.power_w
    if not flow or not head or not power or not is_running(reading):
        return ()
    return (
        LiveValue(
            quantity="efficiency", value=wire_to_water_efficiency(flow, head, power, facts.density_kg_m3)
        ),
    )


def assessable_share(hours: pd.DataFrame, mark: PumpMark, stored: Sequence[StoredFinding]) -> float | None:
    """Return the share [-] of running hours that can be judged, ``None`` when the pump did not run.

    It is the share that analysis itself found: zero where wear cannot be seen at all, with estimated or
    unknown flow or head, or without a curve.
    """
    if hours.empty or not (hours["seconds_running"] > 0).any():
        return None
    told = [item.finding.assessable_share for item in stored if item.finding.kind is Kind.NOT_ASSESSABLE]
    return min((share for share in told if share is not None), default=mark.judged_share or 0.0)


def _head_against_curve(reading: Reading | None, curve: Curve | None) -> float | None:
    if reading is None or curve is None or not is_running(reading):
        return None
    if reading.flow_m3h is None or reading.head_m is None or reading.speed_rpm is None:
        return None
    own = float(curve.head_m(reading.flow_m3h, reading.speed_rpm))
    return reading.head_m / own - 1 if own > 0 else None


def _daily_energy_kwh(hours: pd.DataFrame, end_utc_ms: int) -> FloatArray | None:
    """Return the energy of each of the last days before the newest hour, NaN for a day without readings."""
    if hours.empty:
        return None
    day = QUIET_LINE_DAYS - 1 - (end_utc_ms - HOUR_MS - hours.index.to_numpy()) // DAY_MS
    sums = hours["energy_kwh"].groupby(day).sum()
    return np.asarray(sums.reindex(range(QUIET_LINE_DAYS)).to_numpy(dtype=np.float64))
