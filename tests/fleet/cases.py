"""A pump, a fault and an onset, run through the simulator into hour rows as the product would keep them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from api.analytics.curve import Curve, learn_curve
from api.analytics.drift import every_alarm, slow_findings
from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import INFORMATION_KINDS, Finding, Kind
from api.analytics.hours import hour_rows
from api.analytics.not_assessable import judged_share
from api.analytics.residuals import residuals
from api.analytics.slow_look import SlowLook
from api.analytics.spans import DAY_MS, HOUR_MS
from collector.quantities import QUANTITY_NAMES
from simulator.plant import build_pump
from simulator.plant.curve import as_new, head_m
from simulator.plant.spec import Fault, FaultKind, PumpSpec
from tests.fleet.families import FAMILIES, draw
from tests.fleet.oracle import oracle_days

START_UTC_MS: Final = 1_767_225_600_000
"""2026-01-01 00:00 UTC."""

LOOK_H: Final = {True: 6, False: 12}
"""Hours between two looks at what is said [h], of worn pumps and of those to be left alone. The product looks
again at each closed hour."""

WEAR: Final = ("ring_leakage", "impeller_wear")
ABOUT_HEAD: Final = frozenset({Kind.HEAD_LOSS, Kind.HEAD_SENSOR_SHIFT, Kind.FLOW_METER_SHIFT})

ONSET_DAY: Final = 58
STEP_S: Final = 600
"""Readings ten minutes apart: slow faults are limited by sensor drift, not by how often one asks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What to run: ``severity`` as in the simulator; the onset hour on ``ONSET_DAY`` follows the seed.

    With ``at_duty`` the severity of a leakage is the share of head lost at the pump's own duty; without,
    at its best point, which is more than at the part loads where pumps run.
    """

    family: str
    seed: int
    days: int
    fault: FaultKind | None = None
    severity: float = 0.0
    ramp_days: float = 0.0
    estimated: bool = False
    at_duty: bool = False

    @property
    def onset_utc_ms(self) -> int:
        """Return when the fault begins."""
        return START_UTC_MS + ONSET_DAY * DAY_MS + (self.seed * 7 % 24) * 3_600_000

    def spec(self) -> PumpSpec:
        """Return the pump with its fault on the timetable."""
        pump = draw(FAMILIES[self.family], self.seed, "estimated" if self.estimated else "measured")
        if self.fault is None:
            return pump
        ramp_s = self.ramp_days * 86_400
        severity = self.severity
        if self.at_duty and self.fault == "ring_leakage":
            severity = _leak_severity(self)
        fault = Fault(kind=self.fault, start_utc_ms=self.onset_utc_ms, severity=severity, ramp_s=ramp_s)
        return replace(pump, faults=(fault,))

    def facts(self) -> PumpFacts:
        """Return what a person would have stated."""
        flow = Provenance.ESTIMATED if self.estimated else Provenance.MEASURED
        return PumpFacts(
            pump=f"{self.family}{self.seed}",
            speed=Provenance.MEASURED,
            power=Provenance.MEASURED,
            flow=flow,
            head=flow,
            interval_s=STEP_S,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What the product said.

    ``raised_after_d`` [d] is from onset to the first look at which head is said to be off; ``too_early``
    counts alarms raised before the onset (or at all, if healthy); ``said_on_the_way`` are the kinds that
    were accused at any look, even if unsaid at the next (not asked of worn pumps). ``raised_at_day_end_d``
    [d] is from onset to the first end of a day on which head is off. ``oracle_d`` and ``oracle_often_d`` [d]
    are of an oracle that looks once a day, and as often as the product is looked at, for a step of wear.
    """

    case: Case
    raised_after_d: float | None
    too_early: int
    findings: tuple[Finding, ...]
    judged_days: int
    judged_share: float
    said_on_the_way: frozenset[Kind] = frozenset()
    raised_at_day_end_d: float | None = None
    oracle_d: float | None = None
    oracle_often_d: float | None = None

    @property
    def pump_alarms(self) -> tuple[Finding, ...]:
        """Return the findings that accuse the pump or its sensors."""
        return tuple(finding for finding in self.findings if finding.kind not in INFORMATION_KINDS)

    @property
    def alarms(self) -> int:
        """Count the accusations of the pump or its sensors: those that stand, and kinds unsaid later."""
        standing = {finding.kind for finding in self.pump_alarms}
        return len(self.pump_alarms) + len(self.said_on_the_way - standing)

    @property
    def wear_alarms(self) -> int:
        """Count the claims of a loss of head in the same way."""
        unsaid = Kind.HEAD_LOSS in self.said_on_the_way and not self.wear_claims
        return len(self.wear_claims) + unsaid

    @property
    def wear_claims(self) -> tuple[Finding, ...]:
        """Return the findings that claim a loss of head."""
        return tuple(finding for finding in self.findings if finding.kind is Kind.HEAD_LOSS)


def readings(case: Case) -> pd.DataFrame:
    """Return the readings of a case as analytics take them."""
    times = START_UTC_MS + np.arange(case.days * 86_400 // STEP_S, dtype=np.int64) * STEP_S * 1000
    signals = build_pump(case.spec(), case.seed).advance(times)
    index = pd.Index(times, name="time_utc_ms")
    return pd.DataFrame({name: signals.reported[name] for name in QUANTITY_NAMES}, index=index)


def true_head_change(case: Case) -> float:
    """Return the mean relative change of true head at the same flow and speed after the onset [-]."""
    times = case.onset_utc_ms + np.arange(7 * 24, dtype=np.int64) * 3_600_000
    true = build_pump(case.spec(), case.seed).advance(times).true
    ran = true["flow_m3h"] > 0
    share = true["speed_rpm"][ran] / case.spec().curve.rated_speed_rpm
    as_drawn = _drawn_head_m(case.spec(), true["flow_m3h"][ran], share)
    healthy = build_pump(replace(case, fault=None).spec(), case.seed).advance(times).true
    was = healthy["flow_m3h"] > 0
    before = _drawn_head_m(
        case.spec(), healthy["flow_m3h"][was], healthy["speed_rpm"][was] / case.spec().curve.rated_speed_rpm
    )
    return float(np.mean(true["head_m"][ran] / as_drawn) / np.mean(healthy["head_m"][was] / before) - 1)


def _drawn_head_m(spec: PumpSpec, flow: np.ndarray, share: np.ndarray) -> np.ndarray:
    return head_m(spec.curve, flow, share, as_new(len(flow)))


def _leak_severity(case: Case) -> float:
    # A leak lowers head less at part load, and the control answers it, so the simulator itself is asked.
    severity = case.severity
    for _ in range(4):
        tried = replace(case, severity=severity, ramp_days=0.0, at_duty=False)
        severity *= case.severity / -true_head_change(tried)
    return severity


def hours_of(case: Case) -> pd.DataFrame:
    """Return the hour rows of a case."""
    return hour_rows(readings(case), case.facts())


def run(case: Case) -> Outcome:
    """Simulate and judge one case."""
    return judge(case, hours_of(case))


def judge(case: Case, hours: pd.DataFrame) -> Outcome:
    """Judge the hours of one case."""
    facts, curve = case.facts(), learn_curve(hours, case.facts())
    is_worn = case.fault in WEAR
    onset = case.onset_utc_ms if case.fault else START_UTC_MS + case.days * DAY_MS * 2
    since = onset if is_worn else START_UTC_MS
    said = _said(hours, curve, facts, since, 24 if case.ramp_days else LOOK_H[is_worn], until_head=is_worn)
    after = [time for time, kinds in said if kinds & ABOUT_HEAD and time > onset]
    raised = [(alarm.raised_day + 1) * DAY_MS for alarm in every_alarm(hours, curve, facts)]
    ran = hours.index[hours["n_trusted"] > 0] // DAY_MS
    return Outcome(
        case=case,
        raised_after_d=(after[0] - onset) / DAY_MS if after else None,
        too_early=sum(time <= onset for time in raised),
        findings=tuple(slow_findings(hours, curve, facts)),
        judged_share=judged_share(hours, curve, facts),
        judged_days=len(np.unique(ran)),
        said_on_the_way=frozenset() if is_worn else frozenset().union(*(kinds for _, kinds in said)),
        raised_at_day_end_d=min(((t - onset) / DAY_MS for t in raised if t > onset), default=None),
        oracle_d=_oracle_d(case, hours, curve, facts, 1),
        oracle_often_d=_oracle_d(case, hours, curve, facts, 24 // LOOK_H[True]),
    )


def _said(
    hours: pd.DataFrame,
    curve: Curve | None,
    facts: PumpFacts,
    since_utc_ms: int,
    every_h: int,
    until_head: bool,
) -> list[tuple[int, frozenset[Kind]]]:
    """Return (time, kinds accused) of each look, as the product looks: on from what it holds of whole days.

    No day is judged before the curve is learned, and with it all days before. ``until_head`` ends with the
    first look at which head is said to be off.
    """
    if curve is None:
        return []

    def between(start_utc_ms: int, end_utc_ms: int) -> pd.DataFrame:
        return hours.iloc[slice(*hours.index.searchsorted([start_utc_ms, end_utc_ms]))]

    first_day = max(since_utc_ms, curve.last_hour_utc_ms) // DAY_MS
    look = SlowLook(curve, facts, between)
    look.take(between(0, first_day * DAY_MS))
    held, found = look.held(), []
    for day in range(first_day, int(hours.index[-1]) // DAY_MS + 1):
        for hour in range(every_h, 25, every_h):
            look = SlowLook(curve, facts, between, held)
            look.take(between(day * DAY_MS, day * DAY_MS + hour * HOUR_MS))
            found.append((day * DAY_MS + hour * HOUR_MS, _accused(look)))
            if until_head and found[-1][1] & ABOUT_HEAD and found[-1][0] > since_utc_ms:
                return found
        held = look.held()
    return found


def _accused(look: SlowLook) -> frozenset[Kind]:
    told = [*look.losses(), *look.shifts()]
    kinds = {each.finding.kind for each in told if each.finding and each.alarm.active}
    return frozenset(kinds - INFORMATION_KINDS)


def _oracle_d(
    case: Case, hours: pd.DataFrame, curve: Curve | None, facts: PumpFacts, looks_a_day: int
) -> float | None:
    if curve is None or case.fault not in WEAR or case.ramp_days:
        return None
    return oracle_days(case.fault, case.severity, case.spec(), residuals(hours, curve, facts), looks_a_day)
