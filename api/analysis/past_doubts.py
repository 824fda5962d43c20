"""When the readings contradicted what is declared of their origin, looked for in the stored past."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

from api.analysis.provenance_look import contradiction
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding
from api.store.api_store import ApiStore
from collector.store import Store

LOOK_EVERY_DAYS: Final = 7
"""Each look reads a week, so that looks a week apart see every reading once."""


def past_doubts(
    store: Store, api_store: ApiStore, facts: PumpFacts, day_ends_utc_ms: Sequence[int]
) -> dict[int, Finding]:
    """Return the finding that flow and head are not what is declared, by the ends of the days it stood on.

    ``day_ends_utc_ms`` are in order. The product looks every day; here a look is made every seventh and on
    the last, and on each day between two that differ. What came and went between two like looks is not seen.
    Days whose readings are no longer kept carry no doubt.
    """
    looks: dict[int, Finding | None] = {}

    def look(place: int, before: Finding | None) -> Finding | None:
        end, stands = day_ends_utc_ms[place], before is not None
        looks[end] = contradiction(store, api_store, facts, end, anew=True, stands=stands)
        return looks[end]

    last = len(day_ends_utc_ms) - 1
    marks = sorted({*range(0, last + 1, LOOK_EVERY_DAYS), last}) if last >= 0 else []
    standing = look(marks[0], None) if marks else None
    for first, second in pairwise(marks):
        before, standing = standing, look(second, standing)
        if (before is None) is not (standing is None):
            for place in range(first + 1, second):
                before = look(place, before)
    return _carried_on(looks, day_ends_utc_ms)


def _carried_on(looks: Mapping[int, Finding | None], day_ends_utc_ms: Sequence[int]) -> dict[int, Finding]:
    """Return each day's doubt: that of its own look, else of the look before."""
    standing: Finding | None = None
    doubts: dict[int, Finding] = {}
    for end in day_ends_utc_ms:
        standing = looks.get(end, standing)
        if standing is not None:
            doubts[end] = replace(standing, last_utc_ms=max(standing.first_utc_ms, end - 1))
    return doubts
