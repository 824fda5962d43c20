"""Since when a line is worse: the instant that parts its counts best into before and after."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

LEAST_EVIDENCE: Final = 12.0
"""Logarithm of how much likelier a change is than none; what steady lines reach by chance stays below."""
LEAST_RATIO: Final = 2.0
LEAST_TRIALS: Final = 40
"""On either side: a change told from less would be told from chance."""
EXPECTED_AT_END: Final = 10


@dataclass(frozen=True, slots=True)
class Rise:
    """A share that rose: ``place`` is the first count of the higher one."""

    place: int
    before: float
    after: float


def rise(hits: Sequence[int], trials: Sequence[int], least_share: float) -> Rise | None:
    """Return where the share of hits rose to at least twice and to ``least_share`` [-]; ``None`` if nowhere.

    The best single parting by the binomial likelihood ratio (Page's problem with unknown shares, worked out
    over all places). A rise that has gone away again by the end is none. Errors that come in bursts look
    surer than they are: this says when, the counts say how bad.

    >>> rise([0, 0, 0, 9, 9], [100] * 5, 0.01)
    Rise(place=3, before=0.0, after=0.09)
    >>> rise([5] * 40, [100] * 40, 0.01) is None
    True
    """
    all_hits, all_trials = sum(hits), sum(trials)
    none = _likelihood(all_hits, all_trials)
    best: Rise | None = None
    best_evidence = LEAST_EVIDENCE
    hits_before = trials_before = 0
    for place in range(1, len(trials)):
        hits_before += hits[place - 1]
        trials_before += trials[place - 1]
        hits_after, trials_after = all_hits - hits_before, all_trials - trials_before
        if min(trials_before, trials_after) < LEAST_TRIALS:
            continue
        before, after = hits_before / trials_before, hits_after / trials_after
        if after < max(least_share, LEAST_RATIO * before):
            continue
        evidence = _likelihood(hits_before, trials_before) + _likelihood(hits_after, trials_after) - none
        if evidence > best_evidence:
            best, best_evidence = Rise(place, before, after), evidence
    return None if best is None or _is_over(best, hits, trials) else best


def _is_over(found: Rise, hits: Sequence[int], trials: Sequence[int]) -> bool:
    """Return whether hits at the end are so few, where ten should be, that the rise has gone away."""
    hits_at_end = trials_at_end = 0
    for hit, trial in zip(reversed(hits[found.place :]), reversed(trials[found.place :]), strict=True):
        hits_at_end += hit
        trials_at_end += trial
        if trials_at_end * found.after >= EXPECTED_AT_END:
            break
    return hits_at_end < found.after * trials_at_end / 3


def _likelihood(hits: int, trials: int) -> float:
    """Return the logarithm of the binomial likelihood at its own best share."""
    misses = trials - hits
    return sum(count * math.log(count / trials) for count in (hits, misses) if count)
