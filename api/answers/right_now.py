"""What an active finding says, held against the newest reading, so that a page never contradicts itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from api.analytics.finding import Finding, Kind
from api.answers.source import Source
from api.store.stored_finding import State, StoredFinding
from collector.store import HOUR_MS

DAY_MS: Final = 24 * HOUR_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class RightNow:
    """Whether a finding shows at this moment; if a silent drive answers again, what it lost lately.

    ``lost_share`` [-] is of the scans in the last ``lost_over_h`` [h] before the newest reading.
    """

    is_seen: bool = True
    lost_share: float | None = None
    lost_over_h: int = 1


def right_now(source: Source, stored: StoredFinding) -> RightNow:
    """Return whether the newest reading still shows an active finding; for other kinds it does."""
    finding = stored.finding
    if stored.state is not State.ACTIVE:
        return RightNow()
    if finding.kind is Kind.DRIVE_FAULT:
        return _fault_now(source, finding)
    return _silence_now(source, finding) if finding.kind is Kind.NO_REPLY else RightNow()


def _fault_now(source: Source, finding: Finding) -> RightNow:
    reading = source.store.latest(finding.pump)
    if reading is None or reading.fault_code is None:
        return RightNow()
    return RightNow(is_seen=reading.fault_code == finding.effect)


def _silence_now(source: Source, finding: Finding) -> RightNow:
    reading = source.store.latest(finding.pump)
    if reading is None or reading.time_utc_ms <= finding.last_utc_ms:
        return RightNow()
    end = reading.time_utc_ms + 1
    if source.store.failures(finding.pump, end, end + DAY_MS):
        return RightNow()
    in_hour = _lost_share(source, finding.pump, end - HOUR_MS, end)
    if in_hour:
        return RightNow(is_seen=False, lost_share=in_hour, lost_over_h=1)
    in_day = _lost_share(source, finding.pump, end - DAY_MS, end)
    return RightNow(is_seen=False, lost_share=in_day, lost_over_h=24)


def _lost_share(source: Source, pump: str, start_utc_ms: int, end_utc_ms: int) -> float:
    failed = len(source.store.failures(pump, start_utc_ms, end_utc_ms))
    answered = len(source.store.rows(pump, start_utc_ms, end_utc_ms, ()))
    return failed / (failed + answered)
