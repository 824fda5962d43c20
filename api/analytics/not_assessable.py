"""What cannot be judged about a pump, why, and what would make it so. Never silent."""

from __future__ import annotations

from typing import Final

import pandas as pd

from api.analytics.curve import Curve, baseline_start_utc_ms
from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import Cause, Finding, Kind, Priority
from api.analytics.hours import HOUR_MS
from api.analytics.observations import DAY_MS, observations, running_hours
from api.analytics.residuals import judged
from api.analytics.trusted import CURVE_CHANNELS

RECENT_DAYS: Final = 28
LEAST_SHARE: Final = 0.75
"""Said when less than this share of the running hours of the last four weeks could be judged."""

_CHECKS: Final = {
    "estimated_flow_or_head": ("make_field_check",),
    "unknown_provenance": ("declare_provenance", "make_field_check"),
    "channel_missing": ("read_all_four_channels",),
    "baseline_too_short": ("wait_for_baseline",),
    "outside_learned_region": ("walk_valves", "record_service_event"),
}


def not_assessable_findings(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Finding]:
    """Return the one reason, if any, for which wear cannot be judged at the end of these hours."""
    since = hours[hours.index >= baseline_start_utc_ms(facts)]
    if since.empty or running_hours(since) == 0:
        return []
    share = judged_share(hours, curve, facts)
    reason = _reason(since, curve, facts, share)
    return [_finding(reason, since, facts, share)] if reason else []


def judged_share(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> float:
    """Share [-] of the running hours of the last four weeks of data that could be judged for wear."""
    since = hours[hours.index >= baseline_start_utc_ms(facts)]
    if curve is None or not facts.wear_can_be_seen or since.empty:
        return 0.0
    start = int(since.index[-1]) - RECENT_DAYS * DAY_MS
    ran = running_hours(since[since.index > start])
    seen = observations(since)
    could = judged(seen, curve) & (seen.hour_utc_ms > start)
    return min(1.0, float(could.sum()) / ran) if ran else 0.0


def _reason(since: pd.DataFrame, curve: Curve | None, facts: PumpFacts, share: float) -> str | None:
    if Provenance.ESTIMATED in (facts.flow, facts.head):
        return "estimated_flow_or_head"
    if any(since[f"{channel}_count"].sum() == 0 for channel in CURVE_CHANNELS):
        return "channel_missing"
    if not facts.wear_can_be_seen:
        return "unknown_provenance"
    if curve is None:
        return "baseline_too_short"
    return "outside_learned_region" if share < LEAST_SHARE else None


def _finding(reason: str, since: pd.DataFrame, facts: PumpFacts, share: float) -> Finding:
    last_hour = int(since.index[-1])
    lately = reason == "outside_learned_region"
    first = max(int(since.index[0]), last_hour - RECENT_DAYS * DAY_MS) if lately else int(since.index[0])
    return Finding(
        pump=facts.pump,
        kind=Kind.NOT_ASSESSABLE,
        first_utc_ms=first,
        last_utc_ms=last_hour + HOUR_MS - 1,
        active=True,
        priority=Priority.INFORMATION,
        causes=(Cause(names=(reason,), weight=1.0),),
        checks=_CHECKS[reason],
        assessable_share=share,
    )
