"""What each recorded piece of work did, from hour rows of four weeks on either side of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from api.analysis.pump_pass import curve_of
from api.analytics.curve import Curve
from api.analytics.facts import PumpFacts, ServiceEvent
from api.analytics.finding import Finding
from api.analytics.repair import STOOD_MS, Answered, Measured, WorkEffect, Works, effect_of_work, stretch_of
from api.answers.findings import finite, iso_utc
from api.answers.source import Source
from api.store.service_events import ServiceRecord
from api.store.stored_finding import State, StoredFinding
from collector.site import Pump
from collector.store import HOUR_MS
from dashboards.moments import moment_words
from dashboards.service_views import AnsweredView, EffectView, Interval
from dashboards.views import UnitSystem
from dashboards.wording.repairs import effect_sentence, energy_sentence, next_sentence, verdict_sentence
from dashboards.wording.terms import SERVICES

MOST_EFFECTS: Final = 20
"""So many of the newest works are measured on a page: each reads eight weeks of hour rows."""


def effects(source: Source, pump: Pump, records: Sequence[ServiceRecord]) -> dict[int, EffectView]:
    """Return what the newest of these works did, by entry number. ``records`` are all that hold."""
    return _effects(source, pump, records, records[-MOST_EFFECTS:])


def after_work(source: Source, stored: StoredFinding, units: UnitSystem) -> tuple[str, ...]:
    """Return what became of a finding after each work that it may have been answered by, a text each."""
    pump = source.pump(stored.finding.pump)
    if pump is None:
        return ()
    records = source.api_store.service_log(pump.name)
    last = stored.finding.last_utc_ms + STOOD_MS
    near = [each for each in records if stored.finding.first_utc_ms <= each.event.time_utc_ms <= last]
    named = [each for each in records if each.finding_id == stored.finding_id and each not in near]
    found = _effects(source, pump, records, [*near, *named][-MOST_EFFECTS:])
    zone, now = source.site.time_zone, source.clock.now_utc_ms()
    return tuple(
        f"After the work of {moment_words(record.event.time_utc_ms, zone, now)} "
        f"({SERVICES.get(record.event.kind, record.event.kind)}): {_told(each, effect, zone, now, units)}"
        for record in records
        if (effect := found.get(record.event_id)) is not None
        for each in effect.answered
        if each.finding_id == stored.finding_id
    )


def _told(each: AnsweredView, effect: EffectView, zone: str, now: int, units: UnitSystem) -> str:
    verdict = verdict_sentence(each, zone, now)
    said = (f"{verdict[:1].lower()}{verdict[1:]}", effect_sentence(effect, units), next_sentence(each))
    return " ".join(filter(None, said))


def _effects(
    source: Source, pump: Pump, records: Sequence[ServiceRecord], wanted: Sequence[ServiceRecord]
) -> dict[int, EffectView]:
    facts = source.facts(pump)
    stored = [each for each in source.api_store.findings(pump.name) if each.state is not State.WITHDRAWN]
    events = tuple(record.event for record in records)
    return {record.event_id: _effect(source, facts, record, events, stored) for record in wanted}


def _effect(
    source: Source,
    facts: PumpFacts,
    record: ServiceRecord,
    events: tuple[ServiceEvent, ...],
    stored: Sequence[StoredFinding],
) -> EffectView:
    closed = source.api_store.last_hour(facts.pump) or 0
    stretch = stretch_of(record.event, events, closed + HOUR_MS)
    hours = source.api_store.hours(
        facts.pump, stretch.first_utc_ms - stretch.first_utc_ms % HOUR_MS, stretch.end_utc_ms
    )
    curve = _curve_before(source, facts, stretch.begun_utc_ms)
    chosen = next((each.finding for each in stored if each.finding_id == record.finding_id), None)
    works = Works(work=record.event, every=events, chosen=chosen)
    found = effect_of_work(hours, curve, facts, works, [each.finding for each in stored])
    return _view(found, stored, has_curve=curve is not None)


def _curve_before(source: Source, facts: PumpFacts, begun_utc_ms: int) -> Curve | None:
    """Return the curve that held before the work; none that was learned in part from days since."""
    before = tuple(event for event in facts.events if event.time_utc_ms < begun_utc_ms)
    curve = curve_of(source.api_store, replace(facts, events=before))
    return curve if curve is not None and curve.last_hour_utc_ms < begun_utc_ms else None


def _view(found: WorkEffect, stored: Sequence[StoredFinding], *, has_curve: bool) -> EffectView:
    measured = {quantity.value: each for quantity, each in found.measured.items()}
    energy = found.energy
    return EffectView(
        running_h=found.running_h,
        until_utc_ms=found.stretch.end_utc_ms,
        is_over=found.stretch.is_over,
        is_expected=found.is_expected,
        is_judged=found.is_judged,
        has_curve=has_curve,
        before={name: each.before for name, each in measured.items()},
        since={name: _since(each) for name, each in measured.items()},
        change={name: _change(each) for name, each in measured.items()},
        days={name: (each.levels.before_days, each.levels.since_days) for name, each in measured.items()},
        kwh_per_m3=(energy.before_kwh_per_m3, energy.now_kwh_per_m3) if energy else None,
        parts={part.value: value for part, value in energy.parts.items()} if energy else {},
        starts_per_h=found.starts_per_h,
        answered=tuple(_answered(each, stored) for each in found.answered),
    )


def _since(found: Measured) -> Interval:
    return Interval(value=found.since, low=found.since_low, high=found.since_high)


def _change(found: Measured) -> Interval:
    return Interval(value=found.change, low=found.change_low, high=found.change_high)


def _answered(found: Answered, stored: Sequence[StoredFinding]) -> AnsweredView:
    finding: Finding = found.finding
    return AnsweredView(
        finding_id=next(each.finding_id for each in stored if each.finding is finding),
        kind=finding.kind.value,
        verdict=found.verdict.value,
        quantity=found.quantity.value if found.quantity else "",
        known_at_utc_ms=found.known_at_utc_ms,
        quiet_h=found.quiet_h,
        seen_again_utc_ms=found.seen_again_utc_ms,
        checks=finding.checks,
    )


def plain_effect(effect: EffectView, units: UnitSystem) -> dict[str, Any]:
    """Return what a piece of work did as programs read it: the sentence, and the numbers behind it [SI]."""
    return {
        "sentence": " ".join(filter(None, (effect_sentence(effect, units), energy_sentence(effect, units)))),
        "until_utc": iso_utc(effect.until_utc_ms),
        "running_h": effect.running_h,
        "measured": {name: _plain_measured(effect, name) for name in effect.since},
        "kwh_per_m3_before": effect.kwh_per_m3[0] if effect.kwh_per_m3 else None,
        "kwh_per_m3_since": effect.kwh_per_m3[1] if effect.kwh_per_m3 else None,
        "kwh_per_m3_parts": dict(effect.parts),
        "starts_per_h_before": effect.starts_per_h[0] if effect.starts_per_h else None,
        "starts_per_h_since": effect.starts_per_h[1] if effect.starts_per_h else None,
        "answered": [_plain_answered(each) for each in effect.answered],
    }


def _plain_measured(effect: EffectView, name: str) -> Mapping[str, float | int | None]:
    since, change = effect.since[name], effect.change[name]
    return {
        "before": finite(effect.before[name]),
        "since": finite(since.value),
        "since_low": finite(since.low),
        "since_high": finite(since.high),
        "change": finite(change.value),
        "change_low": finite(change.low),
        "change_high": finite(change.high),
        "days_before": effect.days[name][0],
        "days_since": effect.days[name][1],
    }


def _plain_answered(each: AnsweredView) -> dict[str, Any]:
    return {
        "finding_id": each.finding_id,
        "kind": each.kind,
        "verdict": each.verdict,
        "known_at_utc": iso_utc(each.known_at_utc_ms),
        "seen_again_utc": iso_utc(each.seen_again_utc_ms),
        "quiet_h": each.quiet_h,
    }
