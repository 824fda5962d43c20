"""How a stretch of readings becomes a finding."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from api.analytics.finding import Cause, Evidence, Finding, Kind, Priority
from api.analytics.states.joining import quiet_s
from api.analytics.states.track import Stretch, Track


def episode(
    track: Track,
    stretch: Stretch,
    *,
    kind: Kind,
    priority: Priority,
    evidence: Mapping[str, float],
    causes: Sequence[Cause],
    checks: Sequence[str],
    effect: float | None = None,
    effect_unit: str = "fraction",
) -> Finding:
    """Return one episode as a finding; it is active if the data end before it could count as over."""
    last_utc_ms = int(track.time_utc_ms[stretch.last])
    over_after_s = max(quiet_s(kind, priority), 2.5 * track.interval_s)
    return Finding(
        pump=track.pump,
        kind=kind,
        first_utc_ms=int(track.time_utc_ms[stretch.first]),
        last_utc_ms=last_utc_ms,
        active=track.end_utc_ms - last_utc_ms <= over_after_s * 1000,
        priority=priority,
        effect=effect,
        effect_unit=effect_unit,
        causes=tuple(causes),
        evidence=tuple(Evidence(name=name, value=float(value)) for name, value in evidence.items()),
        checks=tuple(checks),
    )


def alone(*names: str, weight: float) -> Cause:
    """Return a cause, or several that cannot be told apart, with its weight [-]."""
    return Cause(names=names, weight=weight)
