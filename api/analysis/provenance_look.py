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
    return (closed_until_utc_ms // HOUR_MS + _own_hour(facts)) // 24


def _own_hour(facts: PumpFacts) -> int:
    return crc32(facts.pump.encode()) % 24


def contradiction(
    store: Store,
    api_store: ApiStore,
    facts: PumpFacts,
    closed_until_utc_ms: int,
    *,
    anew: bool,
    stands: bool | None = None,
) -> Finding | None:
    """Return the finding that says so, looked for ``anew`` or carried on from the last look.

    It holds from the pump's first reading on: what is wrong is what was declared. Whether one ``stands`` from
    the look before is asked of the store unless it is given: two weeks must agree before one
    comes, three before it goes.
    """
    known = _known(api_store, facts.pump)
    stands = known is not None if stands is None else stands
    doubt = _looked_for(store, facts, closed_until_utc_ms, stands) if anew else known
    ends = store.span(facts.pump)
    if doubt is None or ends is None:
        return None
    # Nothing of wear is told meanwhile, so that no hour counts as judged.
    return replace(
        doubt, first_utc_ms=ends[0], last_utc_ms=max(ends[0], closed_until_utc_ms - 1), assessable_share=0.0
    )


def _looked_for(store: Store, facts: PumpFacts, closed_until_utc_ms: int, stands: bool) -> Finding | None:
    # To the last hour of looking, not to now: a pass that comes later that day must say the same.
    end = (look_number(facts, closed_until_utc_ms) * 24 - _own_hour(facts)) * HOUR_MS
    now = _week(store, facts, end)
    if (now is not None) is stands:
        return now
    ends = store.span(facts.pump)
    # Until there are two whole weeks, one stands for itself.
    is_short = ends is None or ends[0] > end - 2 * LOOK_BACK_MS
    before = _week(store, facts, end - LOOK_BACK_MS)
    if not stands:
        return now if before is not None or is_short else None
    # A few odd days may lie in two weeks: the third tells.
    return before or _week(store, facts, end - 2 * LOOK_BACK_MS)


def _week(store: Store, facts: PumpFacts, end_utc_ms: int) -> Finding | None:
    found = provenance_check(frame_between(store, facts.pump, end_utc_ms - LOOK_BACK_MS, end_utc_ms), facts)
    return found[0] if found else None


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
