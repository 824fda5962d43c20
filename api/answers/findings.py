"""Findings as pages show them and as programs read them."""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any, Final

from api.analysis.failed_pump import noted_failure
from api.analysis.write_result import read_mark
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding, Kind, Priority
from api.answers.behind import is_behind
from api.answers.field_check_results import assessed
from api.answers.old import as_of_utc_ms
from api.answers.right_now import RightNow, right_now
from api.answers.source import Source
from api.answers.unwatched import plain_unwatched
from api.store.stored_finding import State, StoredFinding
from collector.site import Pump
from dashboards.views import Change, EvidenceNumber, FindingCard, FindingSpan, LikelyCause

_ORDER: Final = {priority: place for place, priority in enumerate(Priority)}


_MOST_OVER: Final = 200
"""Findings that are over and are looked through for those that nobody has seen."""


def worst_first(stored: Iterable[StoredFinding]) -> list[StoredFinding]:
    """Return findings in the order in which a person should look: active, urgent, new."""
    return sorted(
        stored,
        key=lambda item: (
            item.state is not State.ACTIVE,
            _ORDER[item.finding.priority],
            -item.finding.first_utc_ms,
        ),
    )


def cards(source: Source, stored: Iterable[StoredFinding], facts: PumpFacts) -> tuple[FindingCard, ...]:
    """Return the cards of a pump's findings, worst first; what was withdrawn has none."""
    kept = (item for item in stored if item.state is not State.WITHDRAWN)
    return tuple(current_card(source, item, facts) for item in worst_first(kept))


def cards_over(source: Source) -> tuple[FindingCard, ...]:
    """Return the cards of the site's newest findings that have returned to normal, worst and newest first."""
    stored = source.api_store.findings(states=[State.RETURNED_TO_NORMAL], limit=_MOST_OVER)
    named = ((item, source.pump(item.finding.pump)) for item in worst_first(stored))
    return tuple(current_card(source, item, source.facts(pump)) for item, pump in named if pump is not None)


def current_card(
    source: Source, stored: StoredFinding, facts: PumpFacts | None, history: Sequence[Change] = ()
) -> FindingCard:
    """Return one finding held against the pump's newest reading: whether it shows, and how old that is."""
    shown = card(stored, facts, history, right_now(source, stored))
    pump = source.pump(stored.finding.pump)
    if pump is None or stored.state is not State.ACTIVE:
        return shown
    blind = stored.finding.kind is Kind.NOT_ASSESSABLE
    return replace(
        shown,
        as_of_utc_ms=as_of_utc_ms(source, pump),
        field_check=assessed(source, pump) if blind else None,
    )


def card(
    stored: StoredFinding,
    facts: PumpFacts | None,
    history: Sequence[Change] = (),
    now: RightNow = RightNow(),  # noqa: B008 - frozen
) -> FindingCard:
    """Return one finding with all that a person needs to act on it."""
    finding = stored.finding
    return FindingCard(
        identity=stored.finding_id,
        pump=finding.pump,
        kind=str(finding.kind),
        priority=str(finding.priority),
        state="active" if stored.state is State.ACTIVE else "returned_to_normal",
        first_utc_ms=finding.first_utc_ms,
        last_utc_ms=finding.last_utc_ms,
        effect=finding.effect,
        effect_low=finding.effect_low,
        effect_high=finding.effect_high,
        effect_unit=finding.effect_unit,
        causes=tuple(LikelyCause(names=cause.names, weight=cause.weight) for cause in finding.causes),
        evidence=tuple(EvidenceNumber(name=item.name, value=item.value) for item in finding.evidence),
        checks=finding.checks,
        assessable_share=finding.assessable_share,
        acknowledged_utc_ms=stored.acknowledged_utc_ms,
        acknowledged_by=stored.acknowledged_by or "",
        fault_meaning=_fault_meaning(finding, facts),
        is_seen_now=now.is_seen,
        lost_share=now.lost_share,
        lost_over_h=now.lost_over_h,
        history=tuple(history),
    )


def _fault_meaning(finding: Finding, facts: PumpFacts | None) -> str:
    if finding.kind is not Kind.DRIVE_FAULT or finding.effect is None or facts is None:
        return ""
    return facts.fault_meanings.get(int(finding.effect), "")


def card_with_history(source: Source, finding_id: int) -> FindingCard | None:
    """Return a finding with its history, ``None`` when there is none of this number."""
    stored = source.api_store.finding(finding_id)
    if stored is None:
        return None
    pump = source.pump(stored.finding.pump)
    history = [
        Change(time_utc_ms=change.at_utc_ms, what=change.what, by=change.by_role, note=change.note)
        for change in source.api_store.changes(finding_id)
    ]
    facts = source.facts(pump) if pump else None
    return current_card(source, stored, facts, history)


def spans(stored: Iterable[StoredFinding], start_utc_ms: int, end_utc_ms: int) -> tuple[FindingSpan, ...]:
    """Return the findings that reach into a range, as intervals on its time axis."""
    return tuple(
        FindingSpan(
            identity=item.finding_id,
            kind=str(item.finding.kind),
            priority=str(item.finding.priority),
            first_utc_ms=item.finding.first_utc_ms,
            last_utc_ms=item.finding.last_utc_ms,
            is_active=item.state is State.ACTIVE,
        )
        for item in stored
        if item.state is not State.WITHDRAWN
        and item.finding.first_utc_ms < end_utc_ms
        and item.finding.last_utc_ms >= start_utc_ms
    )


def plain_finding(source: Source, stored: StoredFinding, behind: Container[str]) -> dict[str, Any]:
    """Return a finding as programs read it; times are ISO 8601 in UTC, names carry their units.

    ``behind`` names the pumps with readings that no analysis has looked at. What was active when readings
    ended long ago, or when its pump left the site file, is not seen now.
    """
    finding = stored.finding
    pump = source.pump(finding.pump)
    is_seen = stored.state is State.ACTIVE and pump is not None and right_now(source, stored).is_seen
    old_since = as_of_utc_ms(source, pump) if pump else None
    return {
        "id": stored.finding_id,
        "pump": finding.pump,
        "kind": str(finding.kind),
        "priority": str(finding.priority),
        "first_utc": iso_utc(finding.first_utc_ms),
        "last_utc": iso_utc(finding.last_utc_ms),
        "state": str(stored.state),
        "is_seen_now": is_seen and old_since is None,
        "is_analysed": finding.pump not in behind,
        "acknowledged_utc": iso_utc(stored.acknowledged_utc_ms),
        "acknowledged_by": stored.acknowledged_by,
        "effect": finite(finding.effect),
        "effect_low": finite(finding.effect_low),
        "effect_high": finite(finding.effect_high),
        "effect_unit": finding.effect_unit,
        "causes": [{"names": list(cause.names), "weight": cause.weight} for cause in finding.causes],
        "evidence": {item.name: finite(item.value) for item in finding.evidence},
        "checks": list(finding.checks),
        "assessable_share": finding.assessable_share,
        "fault_meaning": _fault_meaning(finding, source.facts(pump) if pump else None),
        "field_check": _plain_check(source, pump, stored),
    }


def _plain_check(source: Source, pump: Pump | None, stored: StoredFinding) -> dict[str, Any] | None:
    """Return the newest assessment by a field check of a pump that readings cannot judge."""
    is_blind = stored.finding.kind is Kind.NOT_ASSESSABLE and stored.state is State.ACTIVE
    line = assessed(source, pump) if pump and is_blind else None
    if line is None:
        return None
    return {
        "at_utc": iso_utc(line.at_utc_ms),
        "effect": line.effect,
        "effect_low": line.low,
        "effect_high": line.high,
        "held_against": line.by,
        "is_before_work": line.is_before_work,
    }


def listed_findings(
    source: Source, pump: str | None = None, states: Sequence[State] | None = None, limit: int | None = None
) -> dict[str, Any]:
    """Return findings as programs read them, worst and newest first; a limit leaves out the least urgent.

    ``pumps_not_analysed`` names the pumps with readings newer than the last analysis: what is not listed of
    them is not known to be well. ``pumps_not_in_site_file`` have findings and have left the site file: of
    them nothing is seen now. ``not_watched`` tells what no finding could tell of, as things stand.
    """
    behind = pumps_behind(source, pump)
    stored = worst_first(source.api_store.findings(pump, states))[:limit]
    return {
        "pumps_not_analysed": behind,
        "pumps_not_in_site_file": pumps_left(stored, source),
        "not_watched": plain_unwatched(source, pump),
        "findings": [plain_finding(source, item, behind) for item in stored],
    }


def pumps_left(stored: Iterable[StoredFinding], source: Source) -> list[str]:
    """Return the pumps that have findings and stand in the site file no more, such as renamed ones."""
    named = {item.finding.pump for item in stored}
    return sorted(named - {pump.name for pump in source.site.pumps})


def pumps_behind(source: Source, pump: str | None = None) -> list[str]:
    """Return which pumps have readings that no analysis has looked at, of one pump or all.

    A pump whose analysis failed is one of them.
    """
    asked = [each for each in source.site.pumps if pump in (None, each.name)]
    return [each.name for each in asked if _is_not_analysed(source, each)]


def _is_not_analysed(source: Source, pump: Pump) -> bool:
    if noted_failure(source.api_store, pump.name):
        return True
    return is_behind(source, pump, read_mark(source.api_store, pump.name))


def finite(value: float | None) -> float | None:
    """Return a number that JSON can hold, ``None`` for one it cannot."""
    return value if value is not None and math.isfinite(value) else None


def iso_utc(time_utc_ms: int | None) -> str | None:
    """Return an instant as ISO 8601 in UTC.

    >>> iso_utc(0)
    '1970-01-01T00:00:00Z'
    """
    if time_utc_ms is None:
        return None
    moment = datetime.fromtimestamp(time_utc_ms / 1000, UTC)
    precision = "milliseconds" if time_utc_ms % 1000 else "seconds"
    return moment.isoformat(timespec=precision).replace("+00:00", "Z")
