"""Counting what became of a survey's requests."""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Sequence
from typing import Final

from collector.ranks import nearest_rank
from collector.survey.counts import LEAST_DAMAGED, LineCounts, Tally
from collector.survey.judge import Outcome, Verdict
from collector.survey.result import UnitFound
from collector.survey.whose import whose_answers

LONG_BYTES: Final = 20
"""Answers of eight registers or more, as polling asks for."""
OFTEN: Final = 5
"""The same request, never sound: where chance spoils one answer in three, five in a row are one in 243."""
LEAST_LOST: Final = 2
"""A single answer that is missing may be chance."""
LEAST_ALIKE: Final = 2
"""Different requests; a single one may be a drive that fails at it."""


def counts_of(verdicts: Sequence[Verdict], *, setting: str, timeout_s: float) -> LineCounts:
    """Return the counts of one setting; an answer that took longer than ``timeout_s`` [s] is late."""
    whose = whose_answers(verdicts, timeout_s)
    twice = whose.surplus
    late = {unit: late_s for unit, late_s in whose.late().items() if unit not in twice}
    foreign = [request for verdict in verdicts for request in verdict.foreign]
    answering = {verdict.unit for verdict in verdicts if verdict.is_from_drive} | late.keys()
    gave_data = {
        verdict.unit for verdict in verdicts if verdict.outcome is Outcome.ANSWERED and verdict.answer_bytes
    }
    garbled = garbled_units(verdicts)
    losing = losing_units(verdicts) - late.keys() - twice - garbled
    # A late answer crosses our next request: what it spoils then is no evidence of bad wires.
    sound = answering - twice - garbled - late.keys()
    ours = [verdict for verdict in verdicts if verdict.unit in sound and verdict.answer_bytes]
    return LineCounts(
        setting=setting,
        units_asked=len({verdict.unit for verdict in verdicts}),
        answering=tuple(sorted(answering)),
        refusing=tuple(sorted(answering - gave_data - late.keys() - losing)),
        losing=tuple((unit, _lost(verdicts, unit)) for unit in sorted(losing)),
        garbled=tuple(sorted(garbled)),
        twice=tuple(sorted(twice)),
        late=tuple(sorted(late.items())),
        short=_tally([verdict for verdict in ours if verdict.answer_bytes < LONG_BYTES]),
        long=_tally([verdict for verdict in ours if verdict.answer_bytes >= LONG_BYTES]),
        echoes=sum(verdict.echoed for verdict in verdicts),
        foreign_requests=len(foreign),
        foreign_writes=tuple(sorted({(each.function, each.unit) for each in foreign if each.is_write})),
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
    """Return whether some requests, or one many times, had damaged answers each time, and others never."""
    damaged = Counter(verdict.request for verdict in verdicts if _is_damage(verdict))
    sound = {verdict.request for verdict in verdicts if verdict.is_from_drive}
    repeated = [count for count in damaged.values() if count >= LEAST_DAMAGED]
    is_often = len(repeated) >= LEAST_ALIKE or max(repeated, default=0) >= OFTEN
    return is_often and not sound & damaged.keys()


def _is_damage(verdict: Verdict) -> bool:
    """Return whether an answer was hurt; a late one, of whatever unit, is not this request's damage."""
    return verdict.outcome is Outcome.DAMAGED and not verdict.heard


def losing_units(verdicts: Sequence[Verdict]) -> set[int]:
    """Return the units of which answers are missing now and then: to a read that they answered another time.

    Who is silent at the same read each time does not know it; nothing is lost on the way.
    """
    answered = {(verdict.unit, verdict.request) for verdict in verdicts if verdict.is_from_drive}
    lost = Counter(
        verdict.unit
        for verdict in verdicts
        if verdict.is_silent and (verdict.unit, verdict.request) in answered
    )
    return {unit for unit, count in lost.items() if count >= LEAST_LOST}


def _lost(verdicts: Sequence[Verdict], unit: int) -> tuple[int, int]:
    """Return how many of a unit's requests found no answer, and how many there were."""
    ours = [verdict for verdict in verdicts if verdict.unit == unit]
    return sum(verdict.is_silent for verdict in ours), len(ours)


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
    answers, exceptions = _count(ours, Outcome.ANSWERED), _count(ours, Outcome.REFUSED)
    damaged = sum(_is_damage(verdict) for verdict in ours)
    return UnitFound(
        unit=unit,
        identification=identification,
        read=read,
        requests=len(ours),
        answers=answers,
        exceptions=exceptions,
        # Where another unit's late answer came instead, there was none either.
        no_answers=len(ours) - answers - exceptions - damaged,
        damaged=damaged,
        turn_around_p50_s=statistics.median(times_s) if times_s else None,
        turn_around_p95_s=nearest_rank(times_s, 0.95),
        slowest_s=slowest_s,
        late_s=late_s,
    )


def _count(verdicts: Sequence[Verdict], outcome: Outcome) -> int:
    return sum(verdict.outcome is outcome for verdict in verdicts)
