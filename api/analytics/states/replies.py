"""A drive that does not answer: found from the scans that failed, beside the readings that came."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Final

import numpy as np

from api.analytics.facts import PumpFacts
from api.analytics.finding import Cause, Evidence, Finding, Kind, Priority
from api.analytics.spans import HOUR_MS
from api.analytics.states.joining import QUIET_S
from api.analytics.states.track import Times

_SILENT_S: Final = 5 * 60.0
"""Shorter silences are a line's everyday life (a drive restarts, a cable is moved)."""
_OFTEN: Final = 0.2
"""Of an hour's scans failed: below it, a noisy line; above, readings that can't be relied on."""
_FEWEST_FAILED: Final = 10
_CAUSES: Final[dict[str, tuple[Cause, ...]]] = {
    "no_reply": (
        Cause(names=("drive_without_power", "bus_cable_open"), weight=0.6),
        Cause(names=("wrong_unit_or_settings",), weight=0.4),
    ),
    "damaged": (
        Cause(names=("bus_noise_or_termination",), weight=0.7),
        Cause(names=("two_units_with_one_address",), weight=0.3),
    ),
    "no_link": (
        Cause(names=("gateway_or_adapter_down",), weight=0.8),
        Cause(names=("network_path",), weight=0.2),
    ),
    "refused": (Cause(names=("wrong_register",), weight=0.9), Cause(names=("drive_busy",), weight=0.1)),
    "echo": (Cause(names=("adapter_echo", "bus_cable_open"), weight=1.0),),
}
_CHECKS: Final[dict[str, tuple[str, ...]]] = {
    "no_reply": ("drive_has_power", "bus_cable", "unit_address_and_baud"),
    "damaged": ("bus_termination", "bus_cable", "unit_address_and_baud"),
    "no_link": ("gateway_or_adapter", "network_path"),
    "refused": ("register_addresses", "compare_with_drive_panel"),
    "echo": ("adapter_echo_setting", "bus_cable"),
}


def reply_findings(
    failures: Sequence[tuple[int, str]], times_utc_ms: Times, facts: PumpFacts
) -> list[Finding]:
    """Return when the pump's drive was silent for five minutes, or failed in a fifth of an hour's scans.

    ``failures`` are (time [ms UTC], failure kind) of scans without a reading, ``times_utc_ms`` (n,) the
    times of those with one. A time with neither is one in which nobody asked, and no silence.
    """
    if not failures:
        return []
    failed = np.array(sorted(time for time, _ in failures), dtype=np.int64)
    kinds = {time: kind for time, kind in failures}
    scans = np.sort(np.concatenate([failed, np.asarray(times_utc_ms, dtype=np.int64)]))
    bad = np.isin(scans, failed)
    spans = _united([*_silences(scans, bad), *_bad_hours(failed, scans)])
    end = int(scans[-1])
    return [_finding(span, failed, kinds, scans, facts, end) for span in spans]


def _silences(scans: Times, bad: np.ndarray) -> list[tuple[int, int]]:
    """Return first and last failed scan of each unbroken row of failures that lasted long enough."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], bad, [False]]).astype(np.int8)))
    spans = [(int(scans[a]), int(scans[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [span for span in spans if span[1] - span[0] >= _SILENT_S * 1000]


def _bad_hours(failed: Times, scans: Times) -> list[tuple[int, int]]:
    """Return the hours before a failure in which a fifth of the scans or more failed."""
    since = failed - HOUR_MS
    bad = np.arange(1, len(failed) + 1) - np.searchsorted(failed, since, side="right")
    asked = np.searchsorted(scans, failed, side="right") - np.searchsorted(scans, since, side="right")
    often = (bad >= _FEWEST_FAILED) & (bad >= _OFTEN * asked)
    return [(int(failed[place - bad[place] + 1]), int(failed[place])) for place in np.flatnonzero(often)]


def _united(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the spans with those joined that are closer than the quiet time of this kind."""
    united: list[tuple[int, int]] = []
    for first, last in sorted(spans):
        if united and first - united[-1][1] <= QUIET_S[Kind.NO_REPLY] * 1000:
            united[-1] = (united[-1][0], max(united[-1][1], last))
        else:
            united.append((first, last))
    return united


def _finding(
    span: tuple[int, int],
    failed: Times,
    kinds: dict[int, str],
    scans: Times,
    facts: PumpFacts,
    end_utc_ms: int,
) -> Finding:
    within = failed[(failed >= span[0]) & (failed <= span[1])]
    asked = np.count_nonzero((scans >= span[0]) & (scans <= span[1]))
    kind = Counter(kinds[int(time)] for time in within).most_common(1)[0][0]
    hours = (span[1] - span[0]) / 3.6e6
    return Finding(
        pump=facts.pump,
        kind=Kind.NO_REPLY,
        first_utc_ms=span[0],
        last_utc_ms=span[1],
        active=end_utc_ms - span[1] <= QUIET_S[Kind.NO_REPLY] * 1000,
        priority=Priority.SOON,
        effect=hours,
        effect_unit="h",
        causes=_CAUSES.get(kind, _CAUSES["no_reply"]),
        evidence=(
            Evidence(name="failed_scans", value=float(len(within))),
            Evidence(name="failed_scans_share", value=len(within) / asked),
            Evidence(name="longest_h", value=hours),
        ),
        checks=_CHECKS.get(kind, _CHECKS["no_reply"]),
    )
