"""The slow look of one pump: on from what is held of its earlier days, else from the first hour."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final
from zlib import crc32

import pandas as pd

from api.analysis.held_bytes import from_bytes, held_layout, to_bytes
from api.analytics.curve import Curve
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding
from api.analytics.hours import HOUR_COLUMNS
from api.analytics.not_assessable import RECENT_DAYS
from api.analytics.slow_look import SETTLED_DAYS, SlowLook
from api.analytics.spans import DAY_MS
from api.store.api_store import ApiStore
from api.store.held_days import StoredHeld

MEANING: Final = 8
"""Raised whenever the same hours would be told otherwise: what is held is then made anew."""

RIPE_DAYS: Final = 1
"""Yesterday's last hour still changes with today's first reading, so that a day more is let pass."""

NEAR_MS: Final = (RECENT_DAYS + 2) * DAY_MS
"""Hours before those to be taken that are read with them: every look asks for them."""


class ClosedHours:
    """A pump's closed hours: as stored, but for those that were renewed in this pass."""

    def __init__(
        self, api_store: ApiStore, pump: str, renewed: list[int], new: pd.DataFrame, end_utc_ms: int
    ) -> None:
        self._api_store = api_store
        self._pump = pump
        self._renewed = renewed
        self._new = new
        self._end = end_utc_ms
        self._kept_from = end_utc_ms

    def read_from(self, start_utc_ms: int) -> None:
        """Read the hours from here to the end at once, for all that will be asked of them."""
        if start_utc_ms < self._kept_from:
            self._kept, self._kept_from = self._read(start_utc_ms, self._end), start_utc_ms

    def between(self, start_utc_ms: int, end_utc_ms: int) -> pd.DataFrame:
        """Return the hours from start up to end (exclusive), in order."""
        if start_utc_ms < self._kept_from:
            return self._read(start_utc_ms, end_utc_ms)
        first, last = self._kept.index.searchsorted([start_utc_ms, end_utc_ms])
        return self._kept.iloc[first:last]

    def _read(self, start_utc_ms: int, end_utc_ms: int) -> pd.DataFrame:
        until = min(end_utc_ms, self._end)
        stored = self._api_store.hours(self._pump, start_utc_ms, until)
        new = self._new[(self._new.index >= start_utc_ms) & (self._new.index < until)]
        both = pd.concat([stored.drop(index=self._renewed, errors="ignore"), new])
        return both.sort_index().reindex(columns=list(HOUR_COLUMNS))


@dataclass(frozen=True, slots=True, kw_only=True)
class SlowTold:
    """What a slow look told; findings that ended before ``from_utc_ms`` were told before and stay.

    ``held`` replaces what is stored if it ``is_new``; ``None`` holds nothing. ``judged_share`` [-] is that of
    the last four weeks' running hours which could be judged for wear.
    """

    findings: list[Finding]
    from_utc_ms: int
    judged_share: float
    held: StoredHeld | None = None
    is_new: bool = True


def on_from_held(
    held: StoredHeld, curve: Curve, facts: PumpFacts, hours: ClosedHours, end_utc_ms: int
) -> SlowTold:
    """Look at the hours after what is held, up to the end of the closed ones [ms UTC]."""
    before = from_bytes(held.numbers)
    hours.read_from(held.until_utc_ms - NEAR_MS)
    look = SlowLook(curve, facts, hours.between, before)
    return _told(look, held, held.until_utc_ms - SETTLED_DAYS * DAY_MS, hours, end_utc_ms)


def from_the_first_hour(
    curve: Curve | None, facts: PumpFacts, hours: ClosedHours, end_utc_ms: int, made_from: str | None
) -> SlowTold:
    """Look at all hours; hold what later looks need where ``made_from`` says from what, else nothing."""
    hours.read_from(0)
    look = SlowLook(curve, facts, hours.between)
    if made_from is None:
        look.take(hours.between(0, end_utc_ms))
        return SlowTold(findings=look.findings(), from_utc_ms=0, judged_share=look.judged_share(), held=None)
    nothing = StoredHeld(made_from=made_from, until_utc_ms=0, numbers=b"")
    return _told(look, nothing, 0, hours, end_utc_ms)


def _told(
    look: SlowLook, held: StoredHeld, from_utc_ms: int, hours: ClosedHours, end_utc_ms: int
) -> SlowTold:
    ripe_until = (end_utc_ms // DAY_MS - RIPE_DAYS) * DAY_MS
    is_new = ripe_until > held.until_utc_ms
    if is_new:
        look.take(hours.between(held.until_utc_ms, ripe_until))
        held = replace(held, until_utc_ms=ripe_until, numbers=to_bytes(look.held()))
    look.take(hours.between(held.until_utc_ms, end_utc_ms))
    return SlowTold(
        findings=look.findings(),
        from_utc_ms=from_utc_ms,
        judged_share=look.judged_share(),
        held=held,
        is_new=is_new,
    )


def made_from(facts: PumpFacts, curve: Curve) -> str:
    """Return a text that changes with all that what is held was made from, besides the hours."""
    stated = replace(facts, interval_s=None)
    parts = (MEANING, held_layout(), HOUR_COLUMNS, stated, curve)
    return f"{crc32(repr(parts).encode()):08x}"
