"""Whose answer is it: of the request under way, of an earlier one that it is late for, or of nobody's.

A drive answers each request at most once. So an answer beyond that of the request under way belongs to a
request of its unit that was left in silence and that it fits; where there is none, it was given by somebody
else: a second drive of the same address, or something that repeats answers. A single answer is the newest
request's whenever it fits it: a request that was lost on the way is commoner than a drive that is late by
exactly one turn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from collector.survey.judge import AnswerHeard, Verdict

LEAST_LATE: Final = 2
"""Of who mostly answers in time: a single late answer may be this computer, busy with something else."""


@dataclass(slots=True)
class Whose:
    """How long each late answer of a unit took [s], who answered in time, and whose answers were too many."""

    late_s: dict[int, list[float]] = field(default_factory=dict)
    in_time: set[int] = field(default_factory=set)
    surplus: set[int] = field(default_factory=set)

    def late(self) -> dict[int, float]:
        """Return the units that answer late, with the longest time that one took [s]."""
        return {
            unit: max(times_s)
            for unit, times_s in self.late_s.items()
            if len(times_s) >= LEAST_LATE or unit not in self.in_time
        }


def whose_answers(verdicts: Sequence[Verdict], timeout_s: float) -> Whose:
    """Sort the answers of a survey out; one that began later than ``timeout_s`` [s] is late."""
    found = Whose()
    asked: dict[int, Verdict] = {}
    waiting: dict[int, list[Verdict]] = {}
    # Where another master asks, what answers nothing of ours may answer that one.
    is_only_master = not any(verdict.foreign for verdict in verdicts)
    for verdict in verdicts:
        asked[verdict.unit] = verdict
        own = verdict.own
        for answer in verdict.heard:
            if answer is own:
                continue
            late_for = _late_for(answer, waiting.get(answer.unit, []))
            last = asked.get(answer.unit)
            if late_for is not None:
                found.late_s.setdefault(answer.unit, []).append(answer.begins_s - late_for.request_ends_s)
            elif last is not None and answer.fits(last.request) and (is_only_master or last is verdict):
                found.surplus.add(answer.unit)
        _note_own(found, verdict, timeout_s)
        if own is None and (verdict.heard or verdict.is_silent):
            waiting.setdefault(verdict.unit, []).append(verdict)
    return found


def _late_for(answer: AnswerHeard, waiting: list[Verdict]) -> Verdict | None:
    """Return the request that it answers, and wait for that one no more.

    The newest that it fits, so that a unit is never called later than it must be.
    """
    for verdict in reversed(waiting):
        if answer.fits(verdict.request):
            waiting.remove(verdict)
            return verdict
    return None


def _note_own(found: Whose, verdict: Verdict, timeout_s: float) -> None:
    took_s = verdict.turn_around_s
    if took_s is not None and took_s > timeout_s:
        found.late_s.setdefault(verdict.unit, []).append(took_s)
    elif verdict.own is not None:
        found.in_time.add(verdict.unit)
