"""Now and then: whether flow and head are what the site file says they are."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final
from zlib import crc32

from api.analysis.frames import frame_between
from api.analytics.facts import Provenance, PumpFacts
from api.analytics.finding import Finding, Kind
from api.analytics.states import provenance_check
from api.store.api_store import ApiStore
from api.store.stored_finding import State
from collector.store import HOUR_MS, Store

LOOK_BACK_MS: Final = 7 * 24 * HOUR_MS
"""A week holds the loads that tell a sensor from a computation."""

CONTRADICTED: Final = "provenance_contradicted"
_UNKNOWN: Final = "unknown_provenance"


def look_number(facts: PumpFacts, closed_until_utc_ms: int) -> int:
    """Return a number that changes once a day, for each pump at an hour of its own.

    A week of readings is much to read: 200 pumps that all do so at midnight would hold up what is urgent.
    """
    return (closed_until_utc_ms // HOUR_MS + crc32(facts.pump.encode()) % 24) // 24


def contradiction(
    store: Store, api_store: ApiStore, facts: PumpFacts, closed_until_utc_ms: int, *, anew: bool
) -> Finding | None:
    """Return the finding that says so, looked for ``anew`` or carried on from the last look."""
    known = _known(api_store, facts.pump)
    if not anew:
        return known and replace(known, last_utc_ms=max(known.last_utc_ms, closed_until_utc_ms - 1))
    start = closed_until_utc_ms - LOOK_BACK_MS
    found = provenance_check(frame_between(store, facts.pump, start, closed_until_utc_ms), facts)
    if not found:
        return None
    first = min(known.first_utc_ms, found[0].first_utc_ms) if known else found[0].first_utc_ms
    # Nothing of wear is told meanwhile, so that no hour counts as judged.
    return replace(found[0], first_utc_ms=first, assessable_share=0.0)


def _known(api_store: ApiStore, pump: str) -> Finding | None:
    active = (item.finding for item in api_store.findings(pump, [State.ACTIVE]))
    return next((finding for finding in active if says_contradicted(finding)), None)


def says_contradicted(finding: Finding) -> bool:
    """Return whether a finding says that the declared provenance cannot be right."""
    return finding.kind is Kind.NOT_ASSESSABLE and finding.causes[0].names == (CONTRADICTED,)


def in_doubt(facts: PumpFacts) -> PumpFacts:
    """Return the facts as far as they may be believed: with flow and head of unknown origin."""
    return replace(facts, flow=Provenance.UNKNOWN, head=Provenance.UNKNOWN)


def with_reason(found: Iterable[Finding], doubt: Finding) -> list[Finding]:
    """Return the findings with the doubt in the place of the unknown provenance that it makes."""
    kept = [
        item for item in found if item.kind is not Kind.NOT_ASSESSABLE or item.causes[0].names != (_UNKNOWN,)
    ]
    return [*kept, doubt]
