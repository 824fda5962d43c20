"""One pump, looked at again where its readings changed. Reads only: its result is written by another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final
from zlib import crc32

import pandas as pd

from api.analysis.fast_look import FastLook, fast_look
from api.analysis.frames import HOUR_LEAD_MS, Pieces, Tail, frame_between, usual_interval_s
from api.analysis.hours_to_renew import Span, spans_to_renew
from api.analysis.provenance_look import contradiction, in_doubt, look_number, with_reason
from api.analysis.slow_pass import ClosedHours, SlowTold, from_the_first_hour, made_from, on_from_held
from api.analytics.curve import Curve, baseline, baseline_start_utc_ms, learn_curve
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding
from api.analytics.hours import HOUR_COLUMNS, hour_rows
from api.analytics.states.starts_habit import starts_habit
from api.store.api_store import ApiStore, StoredCurve
from collector.store import HOUR_MS, Store

LAYOUT: Final = crc32(",".join(HOUR_COLUMNS).encode())
"""A version of the product that sums other things into an hour works all hours out anew."""


RESTATED_FOR_MS: Final = 28 * 24 * HOUR_MS
"""Fast findings so old are told by the facts that a person has changed: older ones stay as they were told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpMark:
    """How far a pump's analysis has come: the readings' mark, the closed hours and the work it knew.

    ``events`` is a number for the work recorded. ``newest_readings`` and ``newest_failures`` count what the
    newest hour held: the journal names that hour always, and as nothing stored ever changes, the same counts
    mean the same hour. ``layout`` tells by which
    columns the hour rows were made, ``settings`` from which stated facts the findings were, and
    ``provenance_look`` when these facts were last held against the readings. ``judged_share`` [-] is how much
    of the running hours of the last four weeks could be judged for wear, ``None`` without a curve.
    """

    readings: int = 0
    newest_readings: int = 0
    newest_failures: int = 0
    layout: int = LAYOUT
    closed_until_utc_ms: int = 0
    events: int = 0
    interval_s: float | None = None
    starts_habit_per_hour: float | None = None
    judged_share: float | None = None
    settings: int = 0
    provenance_look: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PumpResult:
    """What a pass found: hour rows to replace, a curve if one was learned, findings of each look."""

    pump: str
    mark: PumpMark
    renewed_hours: list[int] = field(default_factory=list)
    hours: pd.DataFrame | None = None
    learned: StoredCurve | None = None
    baseline_from_utc_ms: int = 0
    slow: SlowTold | None = None
    """``None`` when no closed hour changed, so that there was nothing to look at again."""
    fast: FastLook


def look_again(
    store: Store,
    api_store: ApiStore,
    facts: PumpFacts,
    mark: PumpMark,
    touched: Sequence[int],
    tails: dict[str, Tail] | None = None,
) -> PumpResult:
    """Work out what the touched hours [ms UTC] of a pump change; a function of what is stored alone.

    ``tails`` keep each pump's newest readings from pass to pass, for one that follows at short intervals.
    """
    tail = (tails or {}).get(facts.pump)
    pieces = Pieces(store, facts.pump, tail, min(touched, default=0))
    result = _look(store, api_store, pieces, facts, mark, touched)
    if tails is not None and (newest := pieces.tail()) is not None:
        tails[facts.pump] = newest
    return result


def _look(
    store: Store,
    api_store: ApiStore,
    pieces: Pieces,
    facts: PumpFacts,
    mark: PumpMark,
    touched: Sequence[int],
) -> PumpResult:
    spans = spans_to_renew(touched)
    ends = store.span(facts.pump)
    if ends is None:
        return PumpResult(pump=facts.pump, mark=mark, fast=fast_look(store, pieces, facts, spans))
    new_hours = pd.concat([_rows_of(pieces, facts, span) for span in spans])
    closed_until = ends[1] - ends[1] % HOUR_MS
    new_mark = replace(
        mark,
        closed_until_utc_ms=closed_until,
        events=number_of_events(facts),
        interval_s=facts.interval_s,
        settings=settings_of(facts),
        provenance_look=look_number(facts, closed_until),
    )
    restated = mark.closed_until_utc_ms > 0 and mark.settings != new_mark.settings
    slow = _SlowLook(spans, new_hours, closed_until, restated)
    anew = (mark.settings, mark.provenance_look) != (new_mark.settings, new_mark.provenance_look)
    if not anew and _nothing_closed(api_store, facts.pump, slow, mark, new_mark):
        curve = curve_of(api_store, facts)
        return PumpResult(
            pump=facts.pump,
            mark=new_mark,
            renewed_hours=slow.renewed,
            hours=new_hours,
            fast=fast_look(store, pieces, facts, spans, curve, mark.starts_habit_per_hour),
        )
    doubt = contradiction(store, api_store, facts, closed_until, anew=anew)
    return _look_at_all(store, api_store, pieces, facts, new_mark, slow, ends, doubt)


@dataclass(frozen=True, slots=True)
class _SlowLook:
    spans: list[Span]
    new_hours: pd.DataFrame
    closed_until_utc_ms: int
    restated: bool = False
    """Whether a person has stated other facts since the last look."""

    @property
    def renewed(self) -> list[int]:
        return [hour for span in self.spans for hour in range(span.start_utc_ms, span.end_utc_ms, HOUR_MS)]

    @property
    def new_closed(self) -> pd.DataFrame:
        return self.new_hours[self.new_hours.index < self.closed_until_utc_ms]


def _look_at_all(
    store: Store,
    api_store: ApiStore,
    pieces: Pieces,
    facts: PumpFacts,
    mark: PumpMark,
    slow: _SlowLook,
    ends: tuple[int, int],
    doubt: Finding | None,
) -> PumpResult:
    hours = ClosedHours(api_store, facts.pump, slow.renewed, slow.new_hours, slow.closed_until_utc_ms)
    before = api_store.curve(facts.pump, baseline_start_utc_ms(facts))
    is_known = before is not None and before.is_full
    if not is_known:
        hours.read_from(0)
    learned = None if is_known else learn(hours.between(0, slow.closed_until_utc_ms), facts)
    curve = _curve(learned or before)
    # With a curve of its own, or the full one, a pump's past may say more than it did without.
    knows_more = learned is not None and (before is None or learned.is_full)
    spans = _all_history(ends) if knows_more else _with_the_last_weeks(slow, ends)
    habit = mark.starts_habit_per_hour
    if habit is None or not is_known:
        habit = _starts_habit_per_hour(hours, curve)
    is_full = is_known or (learned is not None and learned.is_full)
    told = _slow_told(api_store, hours, curve, facts if doubt is None else in_doubt(facts), slow, is_full)
    return PumpResult(
        pump=facts.pump,
        mark=replace(mark, starts_habit_per_hour=habit, judged_share=told.judged_share if curve else None),
        renewed_hours=slow.renewed,
        hours=slow.new_hours,
        learned=learned,
        baseline_from_utc_ms=baseline_start_utc_ms(facts),
        # While the readings contradict what is declared, nothing is told of wear.
        slow=told if doubt is None else replace(told, findings=with_reason(told.findings, doubt)),
        fast=fast_look(store, pieces, facts, spans, curve, habit),
    )


def _slow_told(
    api_store: ApiStore,
    hours: ClosedHours,
    curve: Curve | None,
    facts: PumpFacts,
    slow: _SlowLook,
    is_full: bool,
) -> SlowTold:
    """Tell on from what is held, where it was made from the same and nothing of its time was renewed."""
    end = slow.closed_until_utc_ms
    if curve is None or not is_full:
        return from_the_first_hour(curve, facts, hours, end, None)
    source, held = made_from(facts, curve), api_store.held(facts.pump)
    if held is None or held.made_from != source or held.until_utc_ms > slow.spans[0].start_utc_ms:
        return from_the_first_hour(curve, facts, hours, end, source)
    return on_from_held(held, curve, facts, hours, end)


def settings_of(facts: PumpFacts) -> int:
    """Return a number for what a person has stated of a pump: another one asks for another look."""
    stated = replace(facts, events=(), interval_s=None)
    return crc32(repr(stated).encode())


def number_of_events(facts: PumpFacts) -> int:
    """Return a number for the work that was recorded, 0 for none: one taken back and one added is another."""
    return crc32(repr(facts.events).encode()) if facts.events else 0


def _starts_habit_per_hour(hours: ClosedHours, curve: Curve | None) -> float | None:
    """Return the most starts within any hour [1/h] that the baseline's hours explain."""
    if curve is None:
        return None
    return starts_habit(hours.between(curve.first_hour_utc_ms, curve.last_hour_utc_ms + 1), curve)


def curve_of(api_store: ApiStore, facts: PumpFacts) -> Curve | None:
    """Return the stored curve of the pump's present baseline."""
    return _curve(api_store.curve(facts.pump, baseline_start_utc_ms(facts)))


def _curve(stored: StoredCurve | None) -> Curve | None:
    return None if stored is None else Curve.from_dict(stored.document)


def learn(closed: pd.DataFrame, facts: PumpFacts) -> StoredCurve | None:
    """Learn the curve, again with each hour until the baseline's days are over: then it never changes."""
    learned_from, curve = baseline(closed, facts), learn_curve(closed, facts)
    if learned_from is None or curve is None:
        return None
    return StoredCurve(
        baseline_from_utc_ms=baseline_start_utc_ms(facts),
        document=curve.to_dict(),
        is_full=learned_from.is_full,
    )


def _rows_of(pieces: Pieces, facts: PumpFacts, span: Span) -> pd.DataFrame:
    frame = pieces.around(span)
    rows = hour_rows(frame[frame.index >= span.start_utc_ms - HOUR_LEAD_MS], facts)
    return rows[(rows.index >= span.start_utc_ms) & (rows.index < span.end_utc_ms)]


def _nothing_closed(
    api_store: ApiStore, pump: str, slow: _SlowLook, mark: PumpMark, new_mark: PumpMark
) -> bool:
    """Return whether no closed hour is new or other than stored; the open one changes with each reading."""
    if (mark.closed_until_utc_ms, mark.events) != (new_mark.closed_until_utc_ms, new_mark.events):
        return False
    new = slow.new_closed
    first, last = slow.spans[0].start_utc_ms, slow.spans[-1].end_utc_ms
    stored = api_store.hours(pump, first, last).reindex(index=new.index, columns=new.columns)
    return bool(stored.equals(new))


def _all_history(ends: tuple[int, int]) -> list[Span]:
    return spans_to_renew(range(ends[0] - ends[0] % HOUR_MS, ends[1] + 1, HOUR_MS))


def _with_the_last_weeks(slow: _SlowLook, ends: tuple[int, int]) -> list[Span]:
    """Return the look's spans, and where facts were restated the weeks before, which they hold for too."""
    if not slow.restated:
        return slow.spans
    since = max(ends[0], slow.closed_until_utc_ms - RESTATED_FOR_MS)
    lately = range(since - since % HOUR_MS, ends[1] + 1, HOUR_MS)
    return spans_to_renew(sorted({*slow.renewed, *lately}))


def interval_seen_s(store: Store, pump: str) -> float | None:
    """Return the usual time between a pump's first readings [s], for a pump whose interval is not stated."""
    ends = store.span(pump)
    if ends is None:
        return None
    return usual_interval_s(frame_between(store, pump, ends[0], ends[0] + 24 * HOUR_MS, columns=()))
