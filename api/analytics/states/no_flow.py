"""A pump that turns and moves nothing: dry, or against a closed discharge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import Finding, Kind, Priority
from api.analytics.spans import DAY_MS
from api.analytics.states.dryness import is_dry_by_power
from api.analytics.states.own_curve import Floats, OwnCurve, usual_flow_over_speed
from api.analytics.states.restlessness import step_share
from api.analytics.states.saying import alone, episode
from api.analytics.states.too_slow import FlowSeen, is_too_slow
from api.analytics.states.track import (
    Mask,
    Stretch,
    Track,
    held,
    seconds_since_start,
    without_single_holes,
)

_NO_FLOW_SHARE: Final = 0.03
"""Flow below this share of the usual one is none: flow meters read no truer near zero (prototype)."""
_NO_FLOW_SHARE_ESTIMATED: Final = 0.08
"""A drive's estimate near zero flow is as flat as the power curve there, so it is asked for less."""
_DRY_FLOW_SHARE_ESTIMATED: Final = 0.01
"""Power below the drive's own zero-flow power leaves its estimate at nothing, not at little."""
_DRY_HEAD_SHARE: Final = 0.4
_DRY_DUTY_SHARE_WITH_HEAD: Final = 0.7
"""With head gone too, power need only show that the flow and head readings have not both died."""
_CLOSED_HEAD_SHARE: Final = 0.75
"""Of shutoff head: below it, the flow meter says none but the water is going somewhere."""
_CLOSED_POWER_SHARE: Final = 1.3
_CLOSED_DUTY_SHARE: Final = 0.8
"""Of duty power: near it, water moves and it is the flow meter that stands."""
_SHUT_POWER_SHARE: Final = 1.04
_SHUT_BETWEEN: Final = 0.1
"""Between zero-flow and duty power: shut valves 0.03 at most, a fifth of duty flow 0.17 (tuned)."""
_WIDER: Final = 1.15
"""Of a data sheet's power: twice ISO 9906's 7 to 9 % of its coarser grades (from memory)."""
_UNEVEN: Final = 0.03
"""Usual jump of power over speed cubed: without flow a pump turns evenly, with gas it does not."""
_DRY_HOLD_S: Final = 20.0
_CLOSED_HOLD_S: Final = 100.0
_AFTER_START_S: Final = 20.0
"""Water in a long pipe needs this long to get moving (common practice)."""
_LOWEST_SPEED_SHARE: Final = 0.25
"""Of rated or top speed: below it, losses swamp what the water takes, so power proves nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _NoFlow:
    """Shares [-] of the usual flow, of zero-flow power, duty power and shutoff head at the speed, (n,).

    ``dry`` is where power is too little for water in the casing, ``wider`` [-] what power is taken times to.
    """

    wider: float

    flow: Floats
    power: Floats
    dry: Mask
    of_duty_power: Floats
    head: Floats
    judged: Mask


def no_flow_findings(
    track: Track, curve: OwnCurve | None, facts: PumpFacts, *, by_sheet: bool = False
) -> list[Finding]:
    """Return the episodes of dry running and of a closed discharge; none where there is no curve.

    Zero-flow power and shutoff head at the speed are the curve's, extrapolated to no flow. A meter or an
    estimate with a cut-off reads little flow as zero, so that where no flow near nothing was read all day,
    power has to prove that nothing moves. ``by_sheet`` says that the curve is a data sheet's: power then has
    to be less by what a sheet may be wrong.
    """
    if curve is None or not np.isfinite(track["flow_m3h"]).any():
        return []
    shares = _shares(track, curve, facts, _WIDER if by_sheet else 1.0)
    limit = _NO_FLOW_SHARE if facts.flow is Provenance.MEASURED else _NO_FLOW_SHARE_ESTIMATED
    still = shares.judged & (shares.flow <= limit)
    dry = without_single_holes(track, still & _is_dry(shares, facts))
    ran_dry = [one for one in held(track, dry, _DRY_HOLD_S) if _proves_dry(track, one, shares, facts)]
    for stretch in ran_dry:
        still[stretch.readings] = False
    closed = without_single_holes(track, still & _is_closed(shares, facts))
    shows_little = np.concatenate(
        [[0], np.cumsum(shares.judged & (shares.flow > 0) & (shares.flow <= limit))]
    )
    shut = [
        one
        for one in held(track, closed, _CLOSED_HOLD_S)
        if _proves_shut(one, shares) or _shows_little_flow(track, one, shows_little)
    ]
    seen = FlowSeen(share=shares.flow, none_below=limit, judged=shares.judged)
    return [
        *(_dry(track, stretch, shares) for stretch in ran_dry),
        *(
            _closed(track, stretch, shares, too_slow=is_too_slow(track, stretch, shut, seen, curve))
            for stretch in shut
            if _is_even(track, stretch)
        ),
    ]


def _shares(track: Track, curve: OwnCurve, facts: PumpFacts, wider: float) -> _NoFlow:
    speed = np.where(track.running, track["speed_rpm"], np.nan)
    top = facts.rated_speed_rpm or (np.nanmax(speed) if track.running.any() else np.nan)
    usual = usual_flow_over_speed(curve)
    with np.errstate(divide="ignore", invalid="ignore"):
        return _NoFlow(
            flow=track["flow_m3h"] / (usual * speed),
            power=track["power_w"] / np.maximum(curve.power_w(0.0, speed), 1e-9),
            wider=wider,
            dry=is_dry_by_power(wider * track["power_w"], speed, curve),
            of_duty_power=track["power_w"] / np.maximum(curve.power_w(usual * speed, speed), 1e-9),
            head=track["head_m"] / np.maximum(curve.head_m(0.0, speed), 1e-9),
            judged=(seconds_since_start(track) >= _AFTER_START_S) & (speed >= _LOWEST_SPEED_SHARE * top),
        )


def _is_dry(shares: _NoFlow, facts: PumpFacts) -> Mask:
    if facts.head is Provenance.MEASURED:
        return (shares.head < _DRY_HEAD_SHARE) & (
            shares.wider * shares.of_duty_power < _DRY_DUTY_SHARE_WITH_HEAD
        )
    return shares.dry


def _is_closed(shares: _NoFlow, facts: PumpFacts) -> Mask:
    wider = shares.wider
    by_power = (wider * shares.power < _CLOSED_POWER_SHARE) | (
        wider * shares.of_duty_power < _CLOSED_DUTY_SHARE
    )
    if facts.head is Provenance.MEASURED:
        return by_power & (shares.head >= _CLOSED_HEAD_SHARE)
    return by_power


def _proves_dry(track: Track, stretch: Stretch, shares: _NoFlow, facts: PumpFacts) -> bool:
    """Return whether power was even and, where flow is an estimate, whether that was at nothing."""
    measured = facts.flow is Provenance.MEASURED
    nothing = _middle(shares.flow[stretch.readings]) <= _DRY_FLOW_SHARE_ESTIMATED
    return (measured or nothing) and _is_even(track, stretch)


def _shows_little_flow(track: Track, stretch: Stretch, counts: NDArray[np.int64]) -> bool:
    """Return whether flows near nothing were read that day: then a zero is none below what is reported.

    ``counts`` (n + 1,) counts them before each reading.
    """
    first = int(np.searchsorted(track.time_utc_ms, track.time_utc_ms[stretch.last] - DAY_MS))
    return bool(counts[stretch.last + 1] > counts[first])


def _proves_shut(stretch: Stretch, shares: _NoFlow) -> bool:
    """Return whether power is that of no flow, or hardly more: else a little flow may read as zero."""
    power, of_duty = (_middle(values[stretch.readings]) for values in (shares.power, shares.of_duty_power))
    duty = power / max(of_duty, 1e-9)
    return shares.wider * power <= max(_SHUT_POWER_SHARE, 1.0 + _SHUT_BETWEEN * (duty - 1.0))


def _is_even(track: Track, stretch: Stretch) -> bool:
    """Return whether power over speed cubed hardly moved from reading to reading, but for a step of power.

    Little power in steps of 10 W jumps by one of them whenever it jumps at all.
    """
    cube = track["power_w"][stretch.readings] / track["speed_rpm"][stretch.readings] ** 3
    jumps = np.abs(np.diff(cube)) / np.median(cube)
    step = float(np.median(step_share(track["power_w"], track.running)[stretch.readings]))
    return bool(np.median(jumps) < _UNEVEN + step)


def _evidence(shares: _NoFlow, stretch: Stretch, track: Track) -> dict[str, float]:
    part = stretch.readings
    return {
        "episodes": 1.0,
        "flow_share_of_usual": _middle(shares.flow[part]),
        "power_share_of_zero_flow_power": _middle(shares.power[part]),
        "head_share_of_shutoff_head": _middle(shares.head[part]),
        "speed_rpm": _middle(track["speed_rpm"][part]),
        **({"by_data_sheet": 1.0} if shares.wider > 1.0 else {}),
    }


def _middle(values: Floats) -> float:
    """Return the median of what is there, NaN if nothing is."""
    present = values[np.isfinite(values)]
    return float(np.median(present)) if len(present) else float("nan")


def _dry(track: Track, stretch: Stretch, shares: _NoFlow) -> Finding:
    evidence = _evidence(shares, stretch, track)
    return episode(
        track,
        stretch,
        kind=Kind.DRY_RUNNING,
        priority=Priority.URGENT,
        effect=evidence["power_share_of_zero_flow_power"] - 1.0,
        evidence=evidence,
        causes=(
            alone("suction_lost", weight=0.5),
            alone("system_drained", weight=0.3),
            alone("coupling_or_shaft_parted", weight=0.2),
        ),
        checks=("stop_the_pump", "fill_pressure", "suction_valve_open", "vent_casing", "coupling_turns"),
    )


def _closed(track: Track, stretch: Stretch, shares: _NoFlow, *, too_slow: bool) -> Finding:
    evidence = _evidence(shares, stretch, track)
    return episode(
        track,
        stretch,
        kind=Kind.CLOSED_DISCHARGE,
        priority=Priority.INFORMATION if too_slow else Priority.URGENT,
        effect=evidence["flow_share_of_usual"] - 1.0,
        evidence=evidence,
        causes=_CAUSES_IF_TOO_SLOW if too_slow else _CAUSES_IF_CLOSED,
        checks=_CHECKS_IF_TOO_SLOW if too_slow else _CHECKS_IF_CLOSED,
    )


_CAUSES_IF_CLOSED: Final = (
    alone("valve_closed", weight=0.5),
    alone("check_valve_held_shut", "speed_too_low_for_static_head", weight=0.3),
    alone("all_control_valves_shut", weight=0.2),
)
_CHECKS_IF_CLOSED: Final = (
    "walk_discharge_valves",
    "check_valve",
    "control_valve_positions",
    "lowest_speed_setting",
    "casing_temperature",
)
_CAUSES_IF_TOO_SLOW: Final = (
    alone("speed_too_low_for_static_head", weight=0.8),
    alone("check_valve_held_shut", "valve_closed", "all_control_valves_shut", weight=0.2),
)
_CHECKS_IF_TOO_SLOW: Final = (
    "lowest_speed_setting",
    "check_valve",
    "control_valve_positions",
    "walk_discharge_valves",
    "casing_temperature",
)
