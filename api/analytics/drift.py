"""Slow findings: head lost against the pump's own curve, power shifted, and what cannot be judged."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from api.analytics.causes import SURE_WEIGHT, Change, head_causes
from api.analytics.change import Days, Whitened, by_day, day_noise
from api.analytics.curve import Curve
from api.analytics.facts import PumpFacts
from api.analytics.finding import Cause, Evidence, Finding, Kind, Priority
from api.analytics.not_assessable import judged_share, not_assessable_findings
from api.analytics.observations import DAY_MS
from api.analytics.residuals import HEAD_BELIEF_SD, POWER_BELIEF_SD, Residuals, residuals
from api.analytics.system import system_findings
from api.analytics.watch import LEAST_BASELINE_DAYS, LEAST_DAYS_AFTER, Alarm, Limits, alarms, watch

FloatArray = NDArray[np.float64]

HEAD_LIMITS: Final = Limits(z=5.0, effect=0.008)
"""A loss of 1 % that is five standard errors wide (own study: misfit and sensor drift stay below both)."""

POWER_LIMITS: Final = Limits(z=6.0, effect=0.05)
"""Fluid and drive temperature move power by a few percent, so a shift of power alone needs 5 %."""

ACTION_EFFECT: Final = 0.05
"""A loss beyond the head tolerance of grade 2 pumps (ISO 9906, 5 %, from memory) calls for action soon."""

NORMAL_95: Final = 1.96
FORM_ERROR: Final = 0.06
"""Share of an effect by which it may be off where the duty moved with the fault (tuning fleet: 6 %)."""

MOST_LEAK_SHAPE: Final = 4.0
MOST_LEVER: Final = 4.0


def slow_findings(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Finding]:
    """Return every slow finding of one pump, oldest first: a pure function of what is given.

    ``hours`` are rows of :func:`api.analytics.hours.hour_rows` in order, ``curve`` what
    :func:`api.analytics.curve.learn_curve` made of them. Without measured flow and head no wear is ever
    claimed; what cannot be judged is always said. ``first_utc_ms`` of a finding is the start of the day of
    change. Only rows since the last event with ``new_baseline`` count.
    """
    found = list(not_assessable_findings(hours, curve, facts))
    if curve is not None and facts.wear_can_be_seen:
        # An estimated flow follows the pump's wear, so that even the system's resistance would mislead.
        found += system_findings(hours, curve, facts) + _against_curve(hours, curve, facts)
    return sorted(found, key=lambda finding: (finding.first_utc_ms, finding.kind))


def head_alarms(hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts) -> list[Alarm]:
    """Return when a change of head was first raised and how long it stood, day by day, from the past alone.

    This is the back-test: the same engine as :func:`slow_findings`, with the day each alarm was raised.
    """
    if curve is None or not facts.wear_can_be_seen:
        return []
    judged = residuals(hours, curve, facts)
    return _head_alarms(judged, head_limits(facts)) if len(judged.day) else []


def head_limits(facts: PumpFacts) -> Limits:
    """Return when a change of head is raised: as the site file says, else as ``HEAD_LIMITS``."""
    return Limits(
        z=facts.head_loss_evidence_sd or HEAD_LIMITS.z, effect=facts.head_loss_notice or HEAD_LIMITS.effect
    )


def head_templates(judged: Residuals) -> list[Days]:
    """Return the judged hours' residuals of head by day, once for each shape that a loss may have."""
    return [_head_days(judged, shape) for shape in _head_shapes(judged)]


def _head_alarms(judged: Residuals, limits: Limits) -> list[Alarm]:
    return alarms(watch(head_templates(judged), limits), limits)


def _against_curve(hours: pd.DataFrame, curve: Curve, facts: PumpFacts) -> list[Finding]:
    judged = residuals(hours, curve, facts)
    if len(judged.day) == 0:
        return []
    share = judged_share(hours, curve, facts)
    power = _power_days(judged)
    losses = _head_alarms(judged, head_limits(facts))
    found = [_head_finding(alarm, judged, power, curve, facts, share) for alarm in losses]
    shifts = alarms(watch([power], POWER_LIMITS), POWER_LIMITS)
    alone = [shift for shift in shifts if not any(_overlap(shift, loss) for loss in losses)]
    return found + [_power_finding(alarm, judged, facts, share) for alarm in alone]


def _head_shapes(judged: Residuals) -> list[FloatArray]:
    # Erosion lowers head everywhere alike; leakage past the rings the more the steeper the curve is.
    return [np.ones(len(judged.day)), np.clip(judged.steepness, 0.0, MOST_LEAK_SHAPE)]


def _head_days(judged: Residuals, shape: FloatArray) -> Days:
    scale = _evenness(judged.flow_lever)
    features = judged.features * scale[:, None]
    return by_day(judged.day, features, shape * scale, judged.head * scale, HEAD_BELIEF_SD)


def _power_days(judged: Residuals) -> Days:
    # Power depends on speed in ways no law pins down, so it is judged only where the baseline has been.
    known = judged.in_baseline_cells
    scale = _evenness(judged.power_lever)[known]
    features = judged.features[known] * scale[:, None]
    return by_day(judged.day[known], features, scale, judged.power[known] * scale, POWER_BELIEF_SD)


def _evenness(lever: FloatArray) -> FloatArray:
    # A drift of the flow meter shows in the residual by the lever, one of the other sensor as it is.
    spread = np.sqrt(1 + np.clip(lever, -MOST_LEVER, MOST_LEVER) ** 2)
    return np.asarray(np.sqrt(2) / spread)


def _overlap(one: Alarm, other: Alarm) -> bool:
    return (
        one.verdict.change_day <= other.verdict.last_day and other.verdict.change_day <= one.verdict.last_day
    )


def _head_finding(
    alarm: Alarm, judged: Residuals, power: Days, curve: Curve, facts: PumpFacts, share: float
) -> Finding:
    verdict = alarm.verdict
    head = Change(effect=verdict.level, standard_error=verdict.standard_error)
    of_power = _power_change(power, verdict.change_day, verdict.last_day)
    levers = float(np.median(judged.power_lever)), float(np.median(judged.flow_lever))
    causes = head_causes(head, of_power, *levers)
    kind = _head_kind(causes, verdict.level)
    return replace(
        _finding(kind, alarm, facts, share),
        priority=_head_priority(kind, verdict.level),
        causes=causes,
        checks=_HEAD_CHECKS[kind],
        evidence=_evidence(alarm, judged, curve, of_power),
    )


_HEAD_CHECKS: Final = {
    Kind.HEAD_LOSS: ("compare_gauges", "shutoff_head_test", "verify_flow_meter"),
    Kind.HEAD_SENSOR_SHIFT: ("zero_head_sensor_at_rest", "compare_gauges"),
    Kind.FLOW_METER_SHIFT: ("verify_flow_meter", "compare_gauges"),
    Kind.SYSTEM_CHANGE: ("check_fluid_temperature_and_glycol", "record_service_event"),
}


def _head_priority(kind: Kind, effect: float) -> Priority:
    if kind is Kind.SYSTEM_CHANGE:
        return Priority.INFORMATION
    return Priority.SOON if kind is Kind.HEAD_LOSS and abs(effect) >= ACTION_EFFECT else Priority.PLANNED


def _head_kind(causes: tuple[Cause, ...], effect: float) -> Kind:
    first = causes[0]
    if first.names == ("fluid_changed",) and first.weight >= SURE_WEIGHT:
        return Kind.SYSTEM_CHANGE
    if first.names[0].startswith("head_sensor") and (first.weight >= SURE_WEIGHT or effect > 0):
        return Kind.HEAD_SENSOR_SHIFT
    return Kind.HEAD_LOSS if effect < 0 else Kind.FLOW_METER_SHIFT


def _power_finding(alarm: Alarm, judged: Residuals, facts: PumpFacts, share: float) -> Finding:
    rise = alarm.verdict.effect > 0
    names = ("mechanical_drag", "power_reads_high") if rise else ("power_reads_low",)
    return replace(
        _finding(Kind.POWER_SHIFT, alarm, facts, share),
        causes=(Cause(names=(*names, "fluid_changed"), weight=1.0),),
        checks=("check_fluid_temperature_and_glycol", "turn_shaft_by_hand", "compare_power_meter"),
        evidence=(
            Evidence(name="power_residual_fraction", value=alarm.verdict.recent),
            Evidence(name="evidence_z", value=abs(alarm.verdict.z)),
            Evidence(name="hours_used", value=float(_after(alarm, judged).sum())),
        ),
    )


def _finding(kind: Kind, alarm: Alarm, facts: PumpFacts, share: float) -> Finding:
    verdict = alarm.verdict
    half_width = NORMAL_95 * float(np.hypot(verdict.standard_error, FORM_ERROR * verdict.level))
    return Finding(
        pump=facts.pump,
        kind=kind,
        first_utc_ms=verdict.change_day * DAY_MS,
        last_utc_ms=(verdict.last_day + 1) * DAY_MS - 1,
        active=alarm.active,
        priority=Priority.PLANNED,
        effect=verdict.level,
        effect_low=verdict.level - half_width,
        effect_high=verdict.level + half_width,
        assessable_share=share,
    )


def _evidence(alarm: Alarm, judged: Residuals, curve: Curve, of_power: Change | None) -> tuple[Evidence, ...]:
    after = _after(alarm, judged)
    flow, speed = float(judged.seen.flow_m3h[after].mean()), float(judged.seen.speed_rpm[after].mean())
    own_head = float(curve.head_m(flow, speed))
    numbers = {
        "head_residual_fraction": alarm.verdict.recent,
        "flow_at_duty_m3h": flow,
        "speed_at_duty_rpm": speed,
        "own_curve_head_at_duty_m": own_head,
        "head_at_duty_m": own_head * (1 + float(judged.head[after].mean())),
        "evidence_z": abs(alarm.verdict.z),
        "hours_used": float(after.sum()),
        "hours_in_baseline": float((judged.day < alarm.verdict.change_day).sum()),
    }
    if of_power is not None:
        numbers["power_residual_fraction"] = of_power.effect
    return tuple(Evidence(name=name, value=value) for name, value in numbers.items())


def _after(alarm: Alarm, judged: Residuals) -> NDArray[np.bool_]:
    return (judged.day >= alarm.verdict.change_day) & (judged.day <= alarm.verdict.last_day)


def _power_change(power: Days, change_day: int, last_day: int) -> Change | None:
    tau = int(np.searchsorted(power.day, change_day))
    last = int(np.searchsorted(power.day, last_day, side="right")) - 1
    if last - tau + 1 < LEAST_DAYS_AFTER or tau < LEAST_BASELINE_DAYS:
        return None
    scan = Whitened.of(power, day_noise(power)).scan(last, tau)
    return Change(effect=float(scan.effect[0]), standard_error=float(scan.standard_error[0]))
