"""Counting what became of a survey's requests."""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Sequence
from typing import Final

from collector.ranks import nearest_rank
from collector.survey.judge import Outcome, Verdict
from collector.survey.result import UnitFound
from collector.survey.wiring import LEAST_DAMAGED, LineCounts, Tally

LONG_BYTES: Final = 20
"""Answers of eight registers or more, as polling asks for."""
LEAST_ALIKE: Final = 2
"""Different requests; a single one may be a drive that fails at it."""


def counts_of(verdicts: Sequence[Verdict], *, setting: str, timeout_s: float) -> LineCounts:
    """Return the counts of one setting; an answer that took longer than ``timeout_s`` [s] is late."""
    twice = {verdict.unit for verdict in verdicts if verdict.answers > 1}
    late = {unit: s for unit, s in late_by_unit(verdicts, timeout_s).items() if unit not in twice}
    answering = {verdict.unit for verdict in verdicts if verdict.is_from_drive} | late.keys()
    gave_data = {
        verdict.unit for verdict in verdicts if verdict.outcome is Outcome.ANSWERED and verdict.answer_bytes
    }
    garbled = garbled_units(verdicts)
    sound = answering - twice - garbled
    ours = [verdict for verdict in verdicts if verdict.unit in sound and verdict.answer_bytes]
    return LineCounts(
        setting=setting,
        units_asked=len({verdict.unit for verdict in verdicts}),
        answering=tuple(sorted(answering)),
        refusing=tuple(sorted(answering - gave_data - late.keys())),
        garbled=tuple(sorted(garbled)),
        twice=tuple(sorted(twice)),
        late=tuple(sorted(late.items())),
        short=_tally([verdict for verdict in ours if verdict.answer_bytes < LONG_BYTES]),
        long=_tally([verdict for verdict in ours if verdict.answer_bytes >= LONG_BYTES]),
        echoes=sum(verdict.echoed for verdict in verdicts),
        foreign_requests=sum(verdict.foreign_requests for verdict in verdicts),
        no_paths=sum(verdict.outcome is Outcome.NO_PATH for verdict in verdicts),
        bytes_heard=sum(verdict.bytes_heard for verdict in verdicts),
        timeout_s=timeout_s,
    )


def garbled_units(verdicts: Sequence[Verdict]) -> set[int]:
    """Return the units of which more damage than answers came, or whose damage comes again and again alike.

    Two drives that answer at one time spoil each other where they say different things, and there always;
    a bad wire spoils now this, now that.
    """
    ours: dict[int, list[Verdict]] = {}
    for verdict in verdicts:
        ours.setdefault(verdict.unit, []).append(verdict)
    return {unit for unit, its in ours.items() if _is_mostly_damage(its) or _is_damaged_alike(its)}


def _is_mostly_damage(verdicts: Sequence[Verdict]) -> bool:
    tally = _tally(verdicts)
    return tally.damaged >= LEAST_DAMAGED and tally.damaged > tally.sound


def _is_damaged_alike(verdicts: Sequence[Verdict]) -> bool:
    """Return whether several requests were answered with damage each time, and all others never."""
    damaged = Counter(verdict.request for verdict in verdicts if _is_damage(verdict))
    sound = {verdict.request for verdict in verdicts if verdict.is_from_drive}
    repeated = [request for request, count in damaged.items() if count >= LEAST_DAMAGED]
    return len(repeated) >= LEAST_ALIKE and not sound & damaged.keys()


def _is_damage(verdict: Verdict) -> bool:
    """Return whether an answer was hurt; another unit's late one is not this unit's damage."""
    return verdict.outcome is Outcome.DAMAGED and not verdict.others


def late_by_unit(verdicts: Sequence[Verdict], timeout_s: float) -> dict[int, float]:
    """Return the units that answered after the time-out, with the longest time they took [s].

    A late answer comes in its own unit's turn, or while another one is asked.
    """
    late: dict[int, float] = {}
    unanswered_since_s: dict[int, float] = {}
    for verdict in verdicts:
        took = [(verdict.unit, verdict.turn_around_s or 0.0)]
        took += [
            (unit, begins_s - unanswered_since_s.pop(unit))
            for unit, begins_s in verdict.others
            if unit in unanswered_since_s
        ]
        for unit, seconds in took:
            if seconds > timeout_s:
                late[unit] = max(late.get(unit, 0.0), seconds)
        if not verdict.is_from_drive:
            unanswered_since_s[verdict.unit] = verdict.request_ends_s
    return late


def _tally(verdicts: Sequence[Verdict]) -> Tally:
    return Tally(
        sound=sum(verdict.is_from_drive for verdict in verdicts),
        damaged=sum(_is_damage(verdict) for verdict in verdicts),
    )


def unit_found(
    verdicts: Sequence[Verdict],
    unit: int,
    *,
    identification: dict[int, str],
    read: tuple[str, int, int] | None,
    late_s: float | None,
) -> UnitFound:
    """Return what is known of a unit that answers."""
    ours = [verdict for verdict in verdicts if verdict.unit == unit]
    times_s = sorted(verdict.turn_around_s for verdict in ours if verdict.turn_around_s is not None)
    slowest_s = max([*times_s, *([late_s] if late_s is not None else [])], default=None)
    return UnitFound(
        unit=unit,
        identification=identification,
        read=read,
        requests=len(ours),
        answers=_count(ours, Outcome.ANSWERED),
        exceptions=_count(ours, Outcome.REFUSED),
        no_answers=_count(ours, Outcome.SILENT) + _count(ours, Outcome.ECHO_ONLY),
        damaged=sum(_is_damage(verdict) for verdict in ours),
        turn_around_p50_s=statistics.median(times_s) if times_s else None,
        turn_around_p95_s=nearest_rank(times_s, 0.95),
        slowest_s=slowest_s,
        late_s=late_s,
    )


def _count(verdicts: Sequence[Verdict], outcome: Outcome) -> int:
    return sum(verdict.outcome is outcome for verdict in verdicts)
