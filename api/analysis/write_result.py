"""What a pass found meets what is stored: one transaction a pump, whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Final

from sqlalchemy import Connection

from api.analysis.hours_to_renew import Span
from api.analysis.pump_pass import LAYOUT, PumpMark, PumpResult
from api.analysis.reconcile import Look, is_same, reconcile
from api.analysis.silences import ended_by_answers
from api.analysis.slow_pass import SlowTold
from api.analytics.finding import Kind
from api.analytics.states import join
from api.analytics.states.joining import QUIET_S
from api.store.api_store import ApiStore, write_curve, write_mark
from api.store.findings import read_findings, write_updates
from api.store.held_days import write_held
from api.store.hour_rows import delete_hours, write_hours
from api.store.stored_finding import FindingUpdate, State, StoredFinding

FAST_KINDS: Final = frozenset(
    {
        Kind.AIR_BINDING,
        Kind.DRY_RUNNING,
        Kind.CLOSED_DISCHARGE,
        Kind.HUNTING,
        Kind.REPEATED_STARTS,
        Kind.FROZEN_READING,
        Kind.DRIVE_FAULT,
        Kind.NO_REPLY,
    }
)
SLOW_KINDS: Final = frozenset(Kind) - FAST_KINDS

LONGEST_QUIET_MS: Final = int(max(QUIET_S.values()) * 1000)
"""An episode that ended longer ago than this is joined with no other."""


def read_mark(api_store: ApiStore, pump: str) -> PumpMark:
    """Return how far a pump's analysis has come."""
    text = api_store.mark(_mark_name(pump))
    if text is None:
        return PumpMark()
    mark = json.loads(text)
    return PumpMark(**mark) if mark["layout"] == LAYOUT else PumpMark(interval_s=mark["interval_s"])


def _mark_name(pump: str) -> str:
    return f"pump:{pump}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ends:
    """When a pump was last read, and last asked [ms UTC]: what is active is so at that instant."""

    reading_utc_ms: int
    scan_utc_ms: int


def write_result(api_store: ApiStore, result: PumpResult, ends: Ends, now_utc_ms: int) -> int:
    """Write a pump's result and its mark; return how many findings changed."""
    with api_store.write() as connection:
        delete_hours(connection, result.pump, result.renewed_hours)
        if result.hours is not None:
            write_hours(connection, result.pump, result.hours)
        if result.learned is not None:
            write_curve(connection, result.pump, result.learned, now_utc_ms)
        stored = read_findings(connection, pump=result.pump, seen_since_utc_ms=_seen_since(result))
        updates = [*_slow(stored, result, now_utc_ms), *_fast(stored, result, ends, now_utc_ms)]
        write_updates(connection, updates, now_utc_ms)
        if result.slow is not None and result.slow.is_new:
            write_held(connection, result.pump, result.slow.held)
        _write_mark(connection, result)
    return len(updates)


def _write_mark(connection: Connection, result: PumpResult) -> None:
    write_mark(connection, _mark_name(result.pump), json.dumps(asdict(result.mark)))


def _slow(stored: Sequence[StoredFinding], result: PumpResult, now_utc_ms: int) -> list[FindingUpdate]:
    if result.slow is None:
        return []
    since = result.baseline_from_utc_ms
    look = Look(kinds=SLOW_KINDS, start_utc_ms=since, now_utc_ms=now_utc_ms, after_work=since > 0)
    return reconcile([item for item in stored if _is_retold(item, result.slow)], result.slow.findings, look)


def _is_retold(item: StoredFinding, slow: SlowTold) -> bool:
    """Return whether the look told again what this is about: what ended long before stays as it is."""
    lately = item.finding.last_utc_ms >= slow.from_utc_ms or item.state is State.ACTIVE
    return lately or any(is_same(item.finding, found) for found in slow.findings)


def _seen_since(result: PumpResult) -> int:
    """Return a time [ms UTC] before which a finding that stands no more cannot meet what was found."""
    starts = [span.start_utc_ms - LONGEST_QUIET_MS for span in result.fast.spans[:1]]
    starts += [finding.first_utc_ms for finding in result.fast.findings]
    if result.slow is not None:
        starts += [result.slow.from_utc_ms, *(finding.first_utc_ms for finding in result.slow.findings)]
    return max(0, min(starts, default=0))


def _fast(
    stored: Sequence[StoredFinding], result: PumpResult, ends: Ends, now_utc_ms: int
) -> Iterable[FindingUpdate]:
    """Join what was found with the stored episodes beside it, then let the whole meet what is stored."""
    spans = result.fast.spans
    if not spans:
        return []
    beside = [item.finding for item in stored if _reaches_out(item, spans)]
    found = [*beside, *result.fast.findings]
    # A drive that falls silent ends nothing but our sight of it.
    states = join((item for item in found if item.kind is not Kind.NO_REPLY), ends.reading_utc_ms)
    silences = join((item for item in found if item.kind is Kind.NO_REPLY), ends.scan_utc_ms)
    silences = ended_by_answers(silences, ends.reading_utc_ms, ends.scan_utc_ms)
    look = Look(
        kinds=FAST_KINDS,
        start_utc_ms=spans[0].start_utc_ms,
        end_utc_ms=spans[-1].end_utc_ms,
        now_utc_ms=now_utc_ms,
    )
    return reconcile(stored, [*states, *silences], look)


def _reaches_out(item: StoredFinding, spans: Sequence[Span]) -> bool:
    """Return whether a stored episode is not wholly inside one span, so that the look cannot renew it."""
    finding = item.finding
    inside = any(
        span.start_utc_ms <= finding.first_utc_ms and finding.last_utc_ms < span.end_utc_ms for span in spans
    )
    return item.state is not State.WITHDRAWN and finding.kind in FAST_KINDS and not inside
