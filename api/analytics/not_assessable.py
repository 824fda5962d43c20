"""What cannot be judged about a pump, why, and what would make it so. Never silent."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.cells import Births
from api.analytics.curve import Curve, baseline_start_utc_ms
from api.analytics.energy import units_contradict
from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import Cause, Finding, Kind, Priority
from api.analytics.flow_range import at_flow_range
from api.analytics.no_curve import why_no_curve
from api.analytics.observations import LEAST_RUNNING_S, enough, observations
from api.analytics.residuals import births_of, calm_hours, head_is_stuck, judged
from api.analytics.spans import DAY_MS, HOUR_MS
from api.analytics.trusted import CURVE_CHANNELS

RECENT_DAYS: Final = 28
LEAST_SHARE: Final = 0.75
"""Said when less than this share of the running time of the last four weeks could be judged."""

_CHECKS: Final = {
    "estimated_flow_or_head": ("make_field_check",),
    "unknown_provenance": ("declare_provenance", "make_field_check"),
    "channel_missing": ("read_all_four_channels",),
    "baseline_too_short": ("wait_for_baseline",),
    "outside_learned_region": ("walk_valves", "record_service_event"),
    "too_few_readings": ("look_at_gaps", "make_field_check"),
    "too_restless": ("loop_tuning", "vent_casing", "make_field_check"),
    "runs_too_short": ("staging_differential", "schedule", "make_field_check"),
    "readings_stand_still": ("compare_with_drive_panel", "restart_gateway", "register_addresses"),
    "flow_stands_still": ("compare_with_drive_panel", "verify_flow_meter", "register_addresses"),
    "speed_reads_zero": ("compare_with_drive_panel", "register_addresses"),
    "flow_reads_zero": ("compare_with_drive_panel", "verify_flow_meter", "register_addresses"),
    "flow_has_wrong_sign": ("register_addresses", "verify_flow_meter"),
    "head_reads_zero": ("compare_with_drive_panel", "compare_gauges", "register_addresses"),
    "head_has_wrong_sign": ("register_addresses", "compare_gauges"),
    "power_reads_zero": ("compare_with_drive_panel", "register_addresses"),
    "power_has_wrong_sign": ("register_addresses", "compare_power_meter"),
    "flow_meter_at_its_range": ("verify_flow_meter", "register_addresses"),
    "one_reading_stuck": ("compare_with_drive_panel", "verify_flow_meter", "register_addresses"),
    "units_contradict": ("register_addresses", "compare_with_drive_panel", "compare_gauges"),
}

_OF_LATE: Final = frozenset(
    {
        *("outside_learned_region", "too_few_readings", "too_restless"),
        *("flow_meter_at_its_range", "one_reading_stuck"),
    }
)
"""With a curve these tell of the last four weeks alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """What there was to see since the baseline began: from which hour to which [ms UTC], and if it ever ran.

    ``channels`` says which of the quantities of the curve were ever read. ``None`` hours: nothing seen.
    """

    first_hour_utc_ms: int | None = None
    last_hour_utc_ms: int = 0
    ran: bool = False
    channels: tuple[bool, ...] = (False,) * len(CURVE_CHANNELS)

    def then(self, hours: pd.DataFrame) -> Sight:
        """Return the sight with later hours of the same baseline."""
        if hours.empty:
            return self
        first = self.first_hour_utc_ms
        read = (bool(hours[f"{channel}_count"].sum()) for channel in CURVE_CHANNELS)
        return Sight(
            first_hour_utc_ms=int(hours.index[0]) if first is None else first,
            last_hour_utc_ms=int(hours.index[-1]),
            ran=self.ran or _ran(hours),
            channels=tuple(now or before for now, before in zip(read, self.channels, strict=True)),
        )


def _ran(hours: pd.DataFrame) -> bool:
    # A speed that is read as zero hides that the pump runs; drawn power and moved water tell.
    drawn = (hours["power_w_max"] > 0) & (hours["flow_m3h_max"] > 0)
    return bool(((hours["seconds_running"] >= LEAST_RUNNING_S) | drawn).any())


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """How much of the running time of the last four weeks could be judged for wear [-].

    ``reason`` is what stands in the way (a code of ``NOT_ASSESSABLE_REASONS``), ``None`` if nothing does;
    it is of these weeks where there is a curve, else of all since the baseline began.
    """

    share: float = 0.0
    reason: str | None = None
    has_curve: bool = False


def not_assessable_findings(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Finding]:
    """Return the one reason, if any, for which wear cannot be judged at the end of these hours."""
    sight = Sight().then(hours[hours.index >= baseline_start_utc_ms(facts)])
    return not_assessable(sight, facts, _judged_of(hours, curve, facts))


def not_assessable(sight: Sight, facts: PumpFacts, lately: Judged) -> list[Finding]:
    """Return the reason, if any, from what could be judged lately and what is declared."""
    reason = _declared(sight, facts) or lately.reason if sight.ran else None
    return [_finding(reason, sight, facts, lately)] if reason else []


def judged_share(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> float:
    """Share [-] of the running time of the last four weeks of data that could be judged for wear."""
    return _judged_of(hours, curve, facts).share


def _judged_of(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> Judged:
    since = hours[hours.index >= baseline_start_utc_ms(facts)]
    if since.empty or not facts.wear_can_be_seen:
        return Judged()
    if curve is None:
        return Judged(reason=why_no_curve(since, facts))
    births = births_of(calm_hours(since, curve, facts), curve)
    first = first_of_late_utc_ms(int(since.index[-1]))
    return judged_of(since[since.index >= first], curve, facts, births)


def first_of_late_utc_ms(last_hour_utc_ms: int) -> int:
    """Return the start of the four weeks of whole days that end with this hour's [ms UTC]."""
    return (last_hour_utc_ms // DAY_MS - RECENT_DAYS + 1) * DAY_MS


def judged_of(hours: pd.DataFrame, curve: Curve, facts: PumpFacts, births: Births) -> Judged:
    """Return how much of the running time of these hours could be judged, and why not the rest.

    ``births`` tell since when calm hours have known each cell. The hours are those that the residuals keep.
    """
    lost = _lost_s(hours, curve, facts, births)
    ran_s = float(hours["seconds_running"].sum())
    share = max(ran_s - sum(lost.values()), 0.0) / ran_s if ran_s else 0.0
    if units_contradict(hours, facts.density_kg_m3) is not None:
        return Judged(share=share, reason="units_contradict", has_curve=True)
    worst = max(lost, key=lost.__getitem__) if share < LEAST_SHARE else None
    return Judged(share=share, reason=worst, has_curve=True)


def _lost_s(hours: pd.DataFrame, curve: Curve, facts: PumpFacts, births: Births) -> dict[str, float]:
    """Return the running time that could not be judged by what stood in the way [s]."""
    running_s = hours["seconds_running"].to_numpy(dtype=float)
    hour_utc_ms = hours.index.to_numpy(dtype=np.int64)
    seen, calm = observations(hours), calm_hours(hours, curve, facts)
    stuck = np.isin(hour_utc_ms, seen.hour_utc_ms[head_is_stuck(hours, seen, curve)])
    at_range = at_flow_range(hours, hour_utc_ms // DAY_MS) & enough(hours)
    # A meter that stands below what it has shown before is not at the end of its range.
    flow_stuck = at_range & (hours["flow_m3h_max"].to_numpy(dtype=float) < curve.typical_flow_m3h)

    def time_s(mask: np.ndarray) -> float:
        return float(running_s[mask].sum())

    was_seen, was_calm = (np.isin(hour_utc_ms, each.hour_utc_ms) for each in (seen, calm))
    told = np.isin(hour_utc_ms, calm.hour_utc_ms[judged(calm, curve, births)])
    return {
        "flow_meter_at_its_range": time_s(at_range & ~flow_stuck),
        "one_reading_stuck": time_s(stuck | flow_stuck),
        "too_few_readings": time_s(~was_seen & ~at_range),
        "too_restless": time_s(was_seen & ~was_calm & ~stuck),
        "outside_learned_region": time_s(was_calm & ~told),
    }


def _declared(sight: Sight, facts: PumpFacts) -> str | None:
    if Provenance.ESTIMATED in (facts.flow, facts.head):
        return "estimated_flow_or_head"
    if not all(sight.channels):
        return "channel_missing"
    return None if facts.wear_can_be_seen else "unknown_provenance"


def _finding(reason: str, sight: Sight, facts: PumpFacts, lately: Judged) -> Finding:
    first, last_hour = sight.first_hour_utc_ms or 0, sight.last_hour_utc_ms
    if lately.has_curve and reason in _OF_LATE:
        first = max(first, last_hour - RECENT_DAYS * DAY_MS)
    return Finding(
        pump=facts.pump,
        kind=Kind.NOT_ASSESSABLE,
        first_utc_ms=first,
        last_utc_ms=last_hour + HOUR_MS - 1,
        active=True,
        priority=Priority.INFORMATION,
        causes=(Cause(names=(reason,), weight=1.0),),
        checks=_CHECKS[reason],
        assessable_share=lately.share,
    )
