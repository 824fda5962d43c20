"""When a silence is over: as soon as the drive answers, unless it keeps dropping out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from api.analytics.finding import Finding

UNBROKEN: Final = 0.9
"""Share of scans lost [-] from which on a silence was one, not a line that drops some scans."""
ANSWERS_AGAIN_MS: Final = 30_000
"""After an unbroken silence: answers for this long are an answer (a few scans of a usual bus)."""
STEADY_MS: Final = 3_600_000
"""A drive that drops out now and then must answer for an hour, or each drop would be a new finding."""


def ended_by_answers(
    silences: Iterable[Finding], last_reading_utc_ms: int, last_scan_utc_ms: int
) -> list[Finding]:
    """Return the silences with ``active`` false where the drive answers again; others as they are.

    Joining keeps a finding together over hours; whether it stands now is another question, which the
    newest reading [ms UTC] and the newest scan with or without one [ms UTC] answer.
    """
    return [_at(item, last_reading_utc_ms, last_scan_utc_ms) for item in silences]


def _at(silence: Finding, last_reading_utc_ms: int, last_scan_utc_ms: int) -> Finding:
    if not silence.active or last_reading_utc_ms <= silence.last_utc_ms:
        return silence
    answered_ms = last_scan_utc_ms - silence.last_utc_ms
    return replace(silence, active=answered_ms <= _must_answer_ms(silence))


def _must_answer_ms(silence: Finding) -> int:
    lost = next((item.value for item in silence.evidence if item.name == "failed_scans_share"), 1.0)
    return ANSWERS_AGAIN_MS if lost >= UNBROKEN else STEADY_MS
