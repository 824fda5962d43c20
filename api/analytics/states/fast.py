"""All fast rules over one pump's readings."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding
from api.analytics.states.drive_fault import drive_faults
from api.analytics.states.frozen import frozen_readings
from api.analytics.states.gas import gas_bursts
from api.analytics.states.hunting import hunting
from api.analytics.states.joining import join
from api.analytics.states.no_flow import no_flow_findings
from api.analytics.states.own_curve import OwnCurve
from api.analytics.states.sheet_curve import sheet_curve
from api.analytics.states.starts import repeated_starts
from api.analytics.states.stuck import stuck_readings
from api.analytics.states.track import Mask, Track, track_of

LEAD_IN_S: Final = 26 * 3600
"""Readings to give before the time that matters [s]: a day tells how still this pump's readings are."""


_ABOUT_MS: Final = 300_000
"""A valve that opens or a speed that settles makes readings restless for some minutes."""
_GAS_OF_SWING: Final = 0.25
"""Gas churns in bursts, so a swing that it makes is not covered by them whole."""


def fast_findings(
    frame: pd.DataFrame,
    curve: OwnCurve | None,
    facts: PumpFacts,
    *,
    starts_habit_per_hour: float | None = None,
) -> list[Finding]:
    """Return what one pump's readings say is wrong now or was wrong then, joined, in time order.

    ``frame`` has an ascending int64 index ``time_utc_ms`` and the quantities as columns, 1 s to 5 min
    apart; a gap is evidence of nothing. Dry running, closed discharge and gas are judged against
    ``curve``, the pump's own; without one, gas against recent behaviour and the other two, with wider bars,
    against the data sheet's curve, or not at all where there is none
    (:func:`~api.analytics.states.watching.not_watched`).
    ``starts_habit_per_hour`` is what :func:`~api.analytics.states.starts_habit.starts_habit` told.

    Long histories may be given in pieces, each with :data:`LEAD_IN_S` of the readings before it; of each
    piece's :func:`fast_episodes` those that end before the piece itself are dropped, and the rest joined by
    :func:`~api.analytics.states.joining.join`. Cut at whole ten minutes, the result is that of the whole.
    """
    return join(fast_episodes(frame, curve, facts, starts_habit_per_hour=starts_habit_per_hour))


def fast_episodes(
    frame: pd.DataFrame,
    curve: OwnCurve | None,
    facts: PumpFacts,
    *,
    starts_habit_per_hour: float | None = None,
) -> list[Finding]:
    """Return the same before joining: a finding an episode, so that ``join`` can count them exactly."""
    if len(frame) < 3:
        return drive_faults(track_of(frame, facts), facts) if len(frame) else []
    track = track_of(frame, facts)
    faults = drive_faults(track, facts)
    no_flow = (
        no_flow_findings(track, curve, facts)
        if curve is not None
        else no_flow_findings(track, sheet_curve(facts), facts, by_sheet=True)
    )
    whole = frozen_readings(track, facts)
    frozen = [*whole, *(one for one in stuck_readings(track, curve) if not _is_within(one, whole))]
    bursts = gas_bursts(track, curve, facts, _readings_of(track, [*no_flow, *frozen]))
    swings = [swing for swing in hunting(track) if not _is_gas(swing, bursts)]
    if swings:
        bursts = gas_bursts(track, curve, facts, _readings_of(track, [*no_flow, *frozen, *swings]))
    return [
        *faults,
        *no_flow,
        *swings,
        *frozen,
        *repeated_starts(track, facts, starts_habit_per_hour),
        *bursts,
    ]


def _is_within(finding: Finding, others: list[Finding]) -> bool:
    return any(
        finding.first_utc_ms < other.last_utc_ms and other.first_utc_ms < finding.last_utc_ms
        for other in others
    )


def _is_gas(swing: Finding, bursts: list[Finding]) -> bool:
    """Return whether gas explains the swing: a loop that holds head chases each bubble with its speed."""
    shared_ms = sum(
        max(min(swing.last_utc_ms, burst.last_utc_ms) - max(swing.first_utc_ms, burst.first_utc_ms), 0)
        for burst in bursts
    )
    return shared_ms >= _GAS_OF_SWING * (swing.last_utc_ms - swing.first_utc_ms)


def _readings_of(track: Track, findings: list[Finding]) -> Mask:
    within = np.zeros(len(track), dtype=np.bool_)
    for finding in findings:
        about = [finding.first_utc_ms - _ABOUT_MS, finding.last_utc_ms + _ABOUT_MS]
        first, last = np.searchsorted(track.time_utc_ms, about)
        within[first : last + 1] = True
    return within
