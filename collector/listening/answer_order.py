"""Whether an answer that was heard answers the request before it, or an older one of the same shape.

A serial answer says nothing of its request but unit, function and byte count (its *shape*). When a request
went unanswered its answer may still come, after the next request, and would be taken for that one's; from
then on each answer might be its predecessor's. We cannot ask for proof, as the poller can (see
``collector/bus/late_replies.py``), but may wait for it: a drive answers in the order in which it was asked.
So a shape is in doubt from an unanswered request of it on, until the unit answers a request of a shape that
is not, or until it has been left alone for ``late_reply_s``. Where the other master reads only one block of
a shape there is nothing to mistake.
"""

from __future__ import annotations

from collector.bus.pdu import Shape
from collector.listening.exchanges import Exchange, Outcome, Stray

Read = tuple[int, int, int]


class AnswerOrder:
    """The answers of one unit; ``late_reply_s`` [s] is how late after its master's time-out it may be."""

    def __init__(self, late_reply_s: float) -> None:
        self._late_reply_s = late_reply_s
        self._in_doubt: set[Shape] = set()
        self._known: dict[Shape, set[Read]] = {}
        self._spoken_s = float("-inf")

    def is_certain(self, exchange: Exchange) -> bool:
        """Take the next exchange of a read; return whether its answer is surely that request's."""
        request = exchange.request
        shape = request.answer_shape
        self._known.setdefault(shape, set()).add(request.read)
        if request.begins_s - self._spoken_s >= self._late_reply_s:
            self._in_doubt.clear()
        self._spoken_s = exchange.answer.ends_s if exchange.answer is not None else request.ends_s
        if exchange.outcome is Outcome.EXCEPTION and not self._in_doubt:
            return True
        if exchange.outcome is not Outcome.ANSWERED:
            # An exception in doubt may be an older request's: then this one's answer is still to come.
            self._in_doubt.add(shape)
            return False
        if shape not in self._in_doubt:
            self._in_doubt.clear()
            return True
        return self._known[shape] == {request.read}

    def stray(self, stray: Stray) -> None:
        """Take an answer that answers nothing: who sends one may send another."""
        self._spoken_s = stray.frame.ends_s
        if not stray.follows_damage:
            self._in_doubt.add((stray.frame.pdu[0], stray.frame.pdu[1]))
