"""Which answer belongs to which request: on a line only order and shape can tell."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from collector.listening.decoder import Heard, Noise
from collector.listening.frames import EVERYBODY, HeardFrame, Role

MOST_NOISE_BETWEEN: Final = 4
"""Between a request and its answer [bytes]: a driver that turns round may leave a few, but more may be a
damaged answer and a damaged request, and what follows then answers another request."""
LONGEST_ANSWER_S: Final = 5.0
"""No master is known to wait longer (common practice: 0.1 to 3 s)."""


class Outcome(StrEnum):
    """How a request fared."""

    ANSWERED = "answered"
    EXCEPTION = "exception"
    DAMAGED = "damaged"
    """Bytes followed, but no good answer."""
    NO_ANSWER = "no answer"


@dataclass(frozen=True, slots=True)
class Unheard:
    """Before this nobody listened, or not fast enough: anything may have been said until now [s]."""

    time_s: float


@dataclass(frozen=True, slots=True)
class Asked:
    """A request as soon as it is heard; its exchange follows once it is known what came of it."""

    frame: HeardFrame


@dataclass(frozen=True, slots=True)
class Exchange:
    """A request and what came of it; ``answer`` is there when a good answer or an exception was heard."""

    request: HeardFrame
    outcome: Outcome
    answer: HeardFrame | None = None

    def turn_around_s(self, character_s: float) -> float | None:
        """Return how long the unit took to begin its answer [s], ``None`` when the adapter's lumps hide it.

        Counted back from the answer's end, since every byte's time is when it had been received.
        """
        if self.answer is None or self.answer.ends_s == self.request.ends_s:
            return None
        length = self.answer.end - self.answer.start
        return max(0.0, self.answer.ends_s - self.request.ends_s - length * character_s)


@dataclass(frozen=True, slots=True)
class Stray:
    """An answer that answers nothing that was heard; ``noise_bytes`` came since the last good frame."""

    frame: HeardFrame
    noise_bytes: int = 0

    @property
    def follows_damage(self) -> bool:
        """Whether a request that was hurt may stand before it."""
        return self.noise_bytes > MOST_NOISE_BETWEEN


@dataclass(frozen=True, slots=True)
class OtherFunction:
    """A good frame of a function that is not read here."""

    frame: HeardFrame


@dataclass(frozen=True, slots=True)
class Broadcast:
    """A request to every unit, which none answers."""

    frame: HeardFrame


Event = Unheard | Asked | Exchange | Stray | OtherFunction | Broadcast | Noise


class Pairing:
    """Takes what the decoder found, in order, and gives exchanges."""

    def __init__(self) -> None:
        self._asked: HeardFrame | None = None
        self._noise_bytes = 0
        """Since the request."""
        self._noise_before = 0
        """Since the last good frame."""

    def take(self, heard: Iterable[Heard]) -> list[Event]:
        """Return what can be told by now; a request waits for its answer or for what comes instead."""
        return [event for each in heard for event in self._one(each)]

    def silence(self, since_s: float, now_s: float) -> list[Event]:
        """Say how long nothing has come, so that a last request is not waited for for ever."""
        return list(self._give_up()) if now_s - since_s > LONGEST_ANSWER_S else []

    def _one(self, each: Heard) -> Iterator[Event]:
        if isinstance(each, Noise):
            self._noise_bytes += each.end - each.start
            self._noise_before += each.end - each.start
            yield each
            return
        yield from self._frame(each)
        self._noise_before = 0

    def _frame(self, each: HeardFrame) -> Iterator[Event]:
        if each.role is Role.REQUEST:
            yield from self._give_up()
            if each.unit == EVERYBODY:
                yield Broadcast(each)
            else:
                self._asked, self._noise_bytes = each, 0
                yield Asked(each)
        elif each.role is Role.OTHER:
            self._noise_bytes += each.end - each.start
            yield OtherFunction(each)
        else:
            yield self._answer(each)

    def _answer(self, frame: HeardFrame) -> Event:
        asked = self._asked
        if (
            asked is None
            or not asked.is_answered_by(frame)
            or self._noise_bytes > MOST_NOISE_BETWEEN
            or frame.ends_s - asked.ends_s > LONGEST_ANSWER_S
        ):
            self._noise_bytes += frame.end - frame.start
            return Stray(frame, self._noise_before)
        self._asked = None
        outcome = Outcome.EXCEPTION if frame.role is Role.EXCEPTION else Outcome.ANSWERED
        return Exchange(asked, outcome, frame)

    def _give_up(self) -> Iterator[Event]:
        asked, self._asked = self._asked, None
        if asked is not None:
            damaged = self._noise_bytes > MOST_NOISE_BETWEEN
            yield Exchange(asked, Outcome.DAMAGED if damaged else Outcome.NO_ANSWER)
