"""From an alarm to a finding: what moved, how much, what likely did it, and what to check."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from api.analytics.change import Days
from api.analytics.curve import Curve
from api.analytics.facts import PumpFacts
from api.analytics.finding import Cause, Evidence, Finding, Kind, Priority
from api.analytics.flow_shift import flow_shift
from api.analytics.limits import hidden_by_speed
from api.analytics.movement import Foretold, Movement, movement
from api.analytics.onset import onset_day
from api.analytics.ranking import OTHER, rank, weight_of
from api.analytics.residuals import Residuals
from api.analytics.spans import DAY_MS
from api.analytics.templates import GAIN_FELL, head_templates, power_templates
from api.analytics.verdicts import Alarm, half_width
from api.analytics.watch import LONGEST_LOOK_BACK_DAYS

ACTION_EFFECT: Final = 0.05
"""A loss beyond the head tolerance of grade 2 pumps (ISO 9906, 5 %, from memory) calls for action soon."""

SURE_WEIGHT: Final = 0.9
"""A sensor or the fluid is named instead of the pump only at this weight of its causes."""

DOUBT_WEIGHT: Final = 0.2
FLUID_FLOOR: Final = 0.02
"""A loss below this floor accuses no pump while another fluid keeps the weight of doubt: 30 % of glycol
takes 1 to 2 % of head by its thickness (tuning families)."""

LOOK_BEFORE_DAYS: Final = 60
"""Days before the alarm's change day in which a slow growth may have begun."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """An alarm with all that is known about it.

    ``hours`` are those that its level is the mean of, ``cause_hours`` those that tell its cause, ``known`` is
    what the days before foretell, ``head`` and ``power`` are the days themselves, ``of_power`` says which of
    the two the alarm is of.
    """

    alarm: Alarm
    curve: Curve
    facts: PumpFacts
    share: float
    hours: Residuals
    cause_hours: Residuals
    known: Foretold
    head: Days
    power: Days
    of_power: bool

    @property
    def level(self) -> float:
        """Return the relative change that is reported [-]."""
        return self.alarm.verdict.level

    def moved(self) -> Movement | None:
        """Return how head and power moved together."""
        return movement(self.cause_hours, self.known)


def head_finding(case: Case) -> Finding:
    """Return the finding of an alarm of head."""
    moved = case.moved()
    causes = (
        rank(moved, head_templates(moved, case.level)) if moved else _any_of(_HEAD_CAUSES[case.level < 0])
    )
    kind = _head_kind(causes, case.level)
    return _finding(case, kind, causes, moved)


def power_finding(case: Case) -> Finding:
    """Return the finding of an alarm of power alone."""
    moved = case.moved()
    causes = (
        rank(moved, power_templates(moved, case.level)) if moved else _any_of(_POWER_CAUSES[case.level < 0])
    )
    return _finding(case, _power_kind(causes), causes, moved)


def explains_power(finding: Finding) -> bool:
    """Whether the causes of a finding of head also say why power moved as it did."""
    return weight_of(finding.causes, OTHER) < SURE_WEIGHT


_HEAD_CAUSES: Final = {
    True: (
        *("ring_leakage", "impeller_wear", "rough_passages"),
        *("flow_meter_reads_low", "head_sensor_reads_low", GAIN_FELL, "fluid_changed"),
    ),
    False: ("flow_meter_reads_high", "head_sensor_reads_high", "fluid_changed"),
}
_POWER_CAUSES: Final = {
    True: ("power_reads_low", "fluid_changed"),
    False: ("mechanical_drag", "power_reads_high", "fluid_changed"),
}
_CHECKS: Final = {
    Kind.HEAD_LOSS: ("compare_gauges", "shutoff_head_test", "verify_flow_meter"),
    Kind.HEAD_SENSOR_SHIFT: ("zero_head_sensor_at_rest", "compare_gauges"),
    Kind.FLOW_METER_SHIFT: ("verify_flow_meter", "compare_gauges"),
    Kind.FLUID_CHANGE: ("check_fluid_temperature_and_glycol", "record_service_event"),
    Kind.POWER_SHIFT: (
        "check_fluid_temperature_and_glycol",
        "turn_shaft_by_hand",
        "compare_power_meter",
    ),
    Kind.MECHANICAL_DRAG: ("check_fluid_temperature_and_glycol", "turn_shaft_by_hand"),
    Kind.POWER_READING_SHIFT: ("compare_power_meter", "register_addresses"),
}

_BY_GAUGES: Final = ("compare_gauges_at_two_duties", "shutoff_head_test", "verify_flow_meter")


def _any_of(names: tuple[str, ...]) -> tuple[Cause, ...]:
    return (Cause(names=names, weight=1.0),)


def _head_kind(causes: tuple[Cause, ...], level: float) -> Kind:
    if _is_fluid(causes, level):
        return Kind.FLUID_CHANGE
    first = causes[0]
    if level > 0:
        is_sensor = first.names == ("head_sensor_reads_high",)
        return Kind.HEAD_SENSOR_SHIFT if is_sensor else Kind.FLOW_METER_SHIFT
    if first.names == ("head_sensor_reads_low",) and first.weight >= SURE_WEIGHT:
        return Kind.HEAD_SENSOR_SHIFT
    is_meter = first.names == ("flow_meter_reads_low",) and first.weight >= SURE_WEIGHT
    return Kind.FLOW_METER_SHIFT if is_meter else Kind.HEAD_LOSS


def _is_fluid(causes: tuple[Cause, ...], level: float) -> bool:
    fluid = weight_of(causes, "fluid_changed") if len(causes[0].names) < len(_HEAD_CAUSES[False]) else 0.0
    return fluid >= SURE_WEIGHT or (fluid >= DOUBT_WEIGHT and abs(level) < FLUID_FLOOR)


def _power_kind(causes: tuple[Cause, ...]) -> Kind:
    first = causes[0]
    if first.weight < SURE_WEIGHT or len(first.names) > 1:
        return Kind.POWER_SHIFT
    kinds = {
        "fluid_changed": Kind.FLUID_CHANGE,
        "mechanical_drag": Kind.MECHANICAL_DRAG,
        "power_reads_high": Kind.POWER_READING_SHIFT,
        "power_reads_low": Kind.POWER_READING_SHIFT,
    }
    return kinds.get(first.names[0], Kind.POWER_SHIFT)


def _priority(kind: Kind, level: float) -> Priority:
    if kind is Kind.FLUID_CHANGE:
        return Priority.INFORMATION
    return Priority.SOON if kind is Kind.HEAD_LOSS and abs(level) >= ACTION_EFFECT else Priority.PLANNED


def _finding(case: Case, kind: Kind, causes: tuple[Cause, ...], moved: Movement | None) -> Finding:
    verdict = case.alarm.verdict
    effect, low, high = _effect(case, kind)
    return Finding(
        pump=case.facts.pump,
        kind=kind,
        first_utc_ms=_onset_day(case) * DAY_MS,
        last_utc_ms=(verdict.last_day + 1) * DAY_MS - 1,
        active=case.alarm.active,
        priority=_priority(kind, verdict.level),
        effect=effect,
        effect_low=low,
        effect_high=high,
        causes=causes,
        checks=_BY_GAUGES if kind is Kind.HEAD_LOSS and GAIN_FELL in causes[0].names else _CHECKS[kind],
        evidence=_evidence(case, moved),
        assessable_share=case.share,
    )


def _effect(case: Case, kind: Kind) -> tuple[float, float, float]:
    """Return the effect [-] and its interval: of head or power, of a flow meter of flow."""
    verdict = case.alarm.verdict
    hidden = 0.0 if case.of_power else hidden_by_speed(case.curve)
    either_side = half_width(verdict, hidden)
    bounds = (verdict.level, verdict.level - either_side, verdict.level + either_side)
    if kind is not Kind.FLOW_METER_SHIFT:
        return bounds
    effect, *ends = flow_shift(np.array(bounds), case.hours, case.curve).tolist()
    return effect, min(ends), max(ends)


def _onset_day(case: Case) -> int:
    verdict, raised_day = case.alarm.verdict, case.alarm.raised_day
    days, known = (case.power, case.known.power) if case.of_power else (case.head, case.known.head)
    near = days.where(
        (days.day >= verdict.change_day - LOOK_BEFORE_DAYS)
        & (days.day <= min(verdict.last_day, raised_day + LONGEST_LOOK_BACK_DAYS))
    )
    off = (near.mean[:, -1] - near.mean[:, :-2] @ known) / near.mean[:, 0]
    return min(onset_day(near.day, off, verdict.change_day, raised_day), raised_day)


def _evidence(case: Case, moved: Movement | None) -> tuple[Evidence, ...]:
    numbers = {} if case.of_power else {"head_residual_fraction": case.level} | _at_duty(case)
    if case.of_power:
        numbers["power_residual_fraction"] = case.level
    elif moved is not None:
        numbers["power_residual_fraction"] = float(moved.value[3])
    numbers |= {
        "evidence_z": abs(case.alarm.verdict.z),
        "hours_used": float(len(case.hours.day)),
        "hours_in_baseline": float(case.known.hours),
    }
    return tuple(Evidence(name=name, value=value) for name, value in numbers.items())


def _at_duty(case: Case) -> dict[str, float]:
    # The duty of the days that the effect is the mean of, so that sentence and numbers say the same.
    seen = case.hours.seen
    flow, speed = float(np.median(seen.flow_m3h)), float(np.median(seen.speed_rpm))
    refined = 1 + float(np.mean(case.hours.features @ case.known.head))
    own_head = float(case.curve.head_m(flow, speed)) * refined
    return {
        "flow_at_duty_m3h": flow,
        "speed_at_duty_rpm": speed,
        "own_curve_head_at_duty_m": own_head,
        "head_at_duty_m": own_head * (1 + case.level),
    }
