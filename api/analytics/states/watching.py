"""What the fast rules cannot watch for on a pump as it stands, so that silence is not taken for health."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from api.analytics.facts import PumpFacts
from api.analytics.finding import Kind
from api.analytics.states.hunting import FEWEST_READINGS_A_SWING, SLOWEST_SWING_S
from api.analytics.states.own_curve import OwnCurve
from api.analytics.states.sheet_curve import sheet_curve
from api.analytics.states.starts_table import is_common_practice_alone

_FASTEST_SWING_S: Final = 60.0
"""Loops of pumps hardly ever swing faster (common practice), so that more is not spoken of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotWatched:
    """Kinds that are not watched for and, as a code, why not.

    ``shorter_than_s`` [s] is set where only swings with a shorter period than that are not.
    """

    kinds: tuple[Kind, ...]
    because: str
    shorter_than_s: float | None = None


def watches_flow(curve: OwnCurve | None, facts: PumpFacts) -> bool:
    """Return whether dry running and a closed discharge are watched for: not before there is any curve."""
    return curve is not None or sheet_curve(facts) is not None


def not_watched(curve: OwnCurve | None, facts: PumpFacts) -> tuple[NotWatched, ...]:
    """Return what is not watched for on this pump; empty where all is.

    The hours of the own curve are also those that tell how often a pump is used to start.
    """
    found = []
    if not watches_flow(curve, facts):
        found.append(NotWatched(kinds=(Kind.DRY_RUNNING, Kind.CLOSED_DISCHARGE), because="no_curve"))
    if curve is None and is_common_practice_alone(facts):
        found.append(NotWatched(kinds=(Kind.REPEATED_STARTS,), because="no_habit"))
    shortest_s = FEWEST_READINGS_A_SWING * (facts.interval_s or 0.0)
    if shortest_s >= SLOWEST_SWING_S:
        found.append(NotWatched(kinds=(Kind.HUNTING,), because="readings_too_far_apart"))
    elif shortest_s > _FASTEST_SWING_S:
        found.append(
            NotWatched(kinds=(Kind.HUNTING,), because="readings_too_far_apart", shorter_than_s=shortest_s)
        )
    return tuple(found)
