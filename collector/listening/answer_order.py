"""Whether an answer that was heard answers the request before it, or an older one of the same shape.

A serial answer says nothing of its request but unit, function and byte count (its *shape*). When a request
went unanswered its answer may still come, after the next request, and would be taken for that one's; from
then on each answer might be its predecessor's. We cannot ask for proof, as the poller can (see
``collector/bus/late_replies.py``), but can keep count. Two things are taken for granted, as there:

*Order.* A drive answers in the order in which it was asked, each request at most once.

*Time.* No answer comes more than ``late_reply_s`` after its master has stopped waiting: when it was given an
answer, that or another one, or asked its next request; at the latest ``LONGEST_ANSWER_S`` after its own.

So the requests that an answer may belong to are those of its shape that are not too old, asked after the
oldest that the answer before it may have belonged to. When they are all one and the same read, the answer is
believed. Requests that were not heard have any shape: without number where listening began or bytes were
lost, and one for every eight bytes of a damage, since no request for registers is shorter and none loses half
of its bytes. A damage says nothing of whom it hit, so every unit is in doubt after it.

Where the other master reads one block of a shape, there is nothing to mistake once that doubt is over; where
it reads several, a pause of ``late_reply_s`` or an answer of another shape parts the old from the new.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from collector.listening.decoder import Noise
from collector.listening.exchanges import (
    LONGEST_ANSWER_S,
    MOST_NOISE_BETWEEN,
    Asked,
    Broadcast,
    Event,
    Exchange,
    Stray,
    Unheard,
)
from collector.listening.frames import HeardFrame, Role

REQUEST_BYTES: Final = 8
"""Of a read (application protocol V1.1b3, 6.1 to 6.4, with unit and checksum; from memory)."""
HANDED_OVER_S: Final = 0.05
"""Bytes reach us so much later than the line carried them: adapters hold them for 16 ms (common practice)."""


@dataclass(slots=True)
class _Open:
    """A request whose answer may still come, or ``number`` of them that were not heard (no ``frame``)."""

    begun_s: float
    frame: HeardFrame | None = None
    number: float = 1
    gone_on_s: float | None = None
    """When its master had surely stopped waiting; ``None`` while nobody has spoken since."""

    def is_over(self, now_s: float, late_reply_s: float) -> bool:
        waited_s = self.begun_s + LONGEST_ANSWER_S
        gone_on_s = waited_s if self.gone_on_s is None else min(waited_s, self.gone_on_s)
        return now_s > gone_on_s + late_reply_s + HANDED_OVER_S

    def may_be_answered_by(self, answer: HeardFrame) -> bool:
        if self.frame is None or answer.role is Role.EXCEPTION:
            return self.frame is None or self.frame.function == answer.function
        function, byte_count = self.frame.answer_shape
        return answer.pdu[0] == function and byte_count in (-1, answer.pdu[1])


class AnswerOrder:
    """The answers of one unit; ``late_reply_s`` [s] is how late after its master's time-out one may be."""

    def __init__(self, unit: int, late_reply_s: float) -> None:
        self._unit = unit
        self._late_reply_s = late_reply_s
        self._open: list[_Open] = []
        """In the order in which they were asked."""

    def is_certain(self, event: Event) -> bool:
        """Take the next event of the line, of whatever unit.

        Return whether it is an exchange of this unit whose answer, if it has one, is surely its request's.
        """
        if isinstance(event, Exchange):
            return event.request.unit == self._unit and self._exchange(event)
        if isinstance(event, Asked | Broadcast):
            self._request(event.frame)
        elif isinstance(event, Stray) and event.frame.unit == self._unit:
            self._answer(event.frame)
        elif isinstance(event, Noise) and event.end - event.start >= MOST_NOISE_BETWEEN:
            number = math.ceil((event.end - event.start) / REQUEST_BYTES)
            self._drop(event.ends_s)
            self._open.append(_Open(event.ends_s, number=number))
        elif isinstance(event, Unheard):
            self._open = [_Open(event.time_s, number=math.inf)]
        return False

    def _request(self, frame: HeardFrame) -> None:
        for each in self._open:
            if each.gone_on_s is None:
                each.gone_on_s = frame.begins_s
        self._drop(frame.begins_s)
        if frame.unit == self._unit:
            self._open.append(_Open(frame.ends_s, frame))

    def _drop(self, now_s: float) -> None:
        self._open = [each for each in self._open if not each.is_over(now_s, self._late_reply_s)]

    def _exchange(self, exchange: Exchange) -> bool:
        if exchange.answer is None:
            return True
        candidates = self._answer(exchange.answer)
        for each in self._open:
            if each.gone_on_s is None:
                each.gone_on_s = exchange.answer.ends_s
        return bool(candidates) and all(
            each.frame is not None and each.frame.pdu == exchange.request.pdu for each in candidates
        )

    def _answer(self, answer: HeardFrame) -> list[_Open]:
        """Return what it may answer; what was asked before the oldest of that is answered no more."""
        self._drop(answer.ends_s)
        candidates = [each for each in self._open if each.may_be_answered_by(answer)]
        if not candidates:
            # It answers nothing that could have been said: then what we take for granted does not hold here.
            self._open = [_Open(answer.ends_s, number=math.inf)]
            return []
        oldest = candidates[0]
        oldest.number -= 1
        place = next(place for place, each in enumerate(self._open) if each is oldest)
        del self._open[: place if oldest.number > 0 else place + 1]
        return candidates
