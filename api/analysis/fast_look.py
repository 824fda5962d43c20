"""Fast states and silences of one pump over the spans that changed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pandas as pd

from api.analysis.frames import HOUR_LEAD_MS, LEAD_MS, Pieces
from api.analysis.hours_to_renew import Span
from api.analytics.curve import Curve
from api.analytics.facts import PumpFacts
from api.analytics.finding import Finding
from api.analytics.states import fast_episodes, reply_findings
from collector.store import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class FastLook:
    """What was found in each of the spans; a piece's end is not the end of the data."""

    spans: list[Span]
    findings: list[Finding]


def fast_look(
    store: Store,
    pieces: Pieces,
    facts: PumpFacts,
    spans: list[Span],
    curve: Curve | None = None,
    habit: float | None = None,
) -> FastLook:
    """Return the states and silences that reach into the spans; ``habit`` is the usual starts [1/h]."""
    found = [item for span in spans for item in _look(store, pieces.around(span), facts, span, curve, habit)]
    return FastLook(spans=spans, findings=found)


def _look(
    store: Store,
    frame: pd.DataFrame,
    facts: PumpFacts,
    span: Span,
    curve: Curve | None,
    habit: float | None,
) -> Iterator[Finding]:
    start, end = span.start_utc_ms - LEAD_MS, span.end_utc_ms + HOUR_LEAD_MS
    failures = [(item.time_utc_ms, str(item.kind)) for item in store.failures(facts.pump, start, end)]
    if failures:
        yield from _reaching_into(span, reply_findings(failures, frame.index.to_numpy(), facts))
    if not frame.empty:
        episodes = fast_episodes(frame, curve, facts, starts_habit_per_hour=habit)
        yield from _reaching_into(span, episodes)


def _reaching_into(span: Span, findings: Sequence[Finding]) -> Iterator[Finding]:
    """Keep what reaches into the span; what lies wholly in the lead-in was found when its hours came."""
    return (
        item
        for item in findings
        if item.last_utc_ms >= span.start_utc_ms and item.first_utc_ms < span.end_utc_ms
    )
