"""Fast states: what a pump's readings show within minutes, from its own curve and its own habits."""

from __future__ import annotations

from api.analytics.states.fast import LEAD_IN_S, fast_episodes, fast_findings
from api.analytics.states.joining import QUIET_S, join
from api.analytics.states.own_curve import OwnCurve
from api.analytics.states.provenance import provenance_check
from api.analytics.states.replies import reply_findings
from api.analytics.states.watching import NotWatched, not_watched, watches_flow

__all__ = [
    "LEAD_IN_S",
    "QUIET_S",
    "NotWatched",
    "OwnCurve",
    "fast_episodes",
    "fast_findings",
    "join",
    "not_watched",
    "provenance_check",
    "reply_findings",
    "watches_flow",
]
