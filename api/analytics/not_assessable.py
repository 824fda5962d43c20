"""What cannot be judged about a pump, why, and what would make it so. Never silent."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import pandas as pd

from api.analytics.cells import Births
from api.analytics.curve import Curve, baseline_start_utc_ms
from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import Cause, Finding, Kind, Priority
from api.analytics.hours import HOUR_MS
from api.analytics.observations import DAY_MS, observations, running_hours
from api.analytics.residuals import births_of, judged
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
            ran=self.ran or running_hours(hours) > 0,
            channels=tuple(now or before for now, before in zip(read, self.channels, strict=True)),
        )


def not_assessable_findings(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Finding]:
    """Return the one reason, if any, for which wear cannot be judged at the end of these hours."""
    sight = Sight().then(hours[hours.index >= baseline_start_utc_ms(facts)])
    return not_assessable(sight, curve, facts, judged_share(hours, curve, facts))


def not_assessable(sight: Sight, curve: Curve | None, facts: PumpFacts, share: float) -> list[Finding]:
    """Return the reason, if any, with the share [-] that could be judged of the last four weeks."""
    reason = _reason(sight, curve, facts, share) if sight.ran else None
    return [_finding(reason, sight, facts, share)] if reason else []


def judged_share(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> float:
    """Share [-] of the running hours of the last four weeks of data that could be judged for wear."""
    since = hours[hours.index >= baseline_start_utc_ms(facts)]
    if curve is None or not facts.wear_can_be_seen or since.empty:
        return 0.0
    return share_of(lately(since, int(since.index[-1])), curve, births_of(observations(since), curve))


def lately(hours: pd.DataFrame, last_hour_utc_ms: int) -> pd.DataFrame:
    """Return the four weeks of hours that end with this one."""
    start = last_hour_utc_ms - RECENT_DAYS * DAY_MS
    return hours[(hours.index > start) & (hours.index <= last_hour_utc_ms)]


def share_of(hours: pd.DataFrame, curve: Curve, births: Births) -> float:
    """Share [-] of the running hours that could be judged, with what any hour has ever known of cells."""
    ran = running_hours(hours)
    could = judged(observations(hours), curve, births)
    return min(1.0, float(could.sum()) / ran) if ran else 0.0


def _reason(sight: Sight, curve: Curve | None, facts: PumpFacts, share: float) -> str | None:
    if Provenance.ESTIMATED in (facts.flow, facts.head):
        return "estimated_flow_or_head"
    if not all(sight.channels):
        return "channel_missing"
    if not facts.wear_can_be_seen:
        return "unknown_provenance"
    if curve is None:
        return "baseline_too_short"
    return "outside_learned_region" if share < LEAST_SHARE else None


def _finding(reason: str, sight: Sight, facts: PumpFacts, share: float) -> Finding:
    first, last_hour = sight.first_hour_utc_ms or 0, sight.last_hour_utc_ms
    if reason == "outside_learned_region":
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
        assessable_share=share,
    )
