"""Which answers may still be on their way, so that none is ever taken for the answer to a later request.

A serial answer does not say which request it answers: only unit, function code and byte count (its
*shape*). After a time-out the old answer may come while we wait for a new one of the same shape, and from
then on every answer would be taken for its successor's. Two independent facts undo this, and a unit is
trusted again only when both have been used:

*Order.* A drive answers its requests in the order in which it got them, each at most once. A request of a
shape that no unanswered request of that unit has (a *fence*: fewer of the same registers) can only be
answered by its own answer. When that comes, every older answer has come and was thrown away, or never
comes. This holds however late a drive is. A fence that goes unanswered is itself remembered, and the next
one takes another shape. Exceptions carry no byte count and so prove nothing: a fence that is refused (many
drives will not give half a 32-bit value) is remembered too, and one of another shape is sent at once.

*Time.* No answer comes more than ``late_reply_s`` after its time-out: the site file says so. This holds
even where something between us and the drive changes the order. So a remembered shape is not asked of that
unit for so long, and only then the fence is sent. Where no fence is left (the read is of a single register,
or the drive has refused or left unanswered every shorter one) the time alone must do, but for the shapes of
fences just refused: those stay remembered until an answer proves that theirs are gone.

A drive that has been silent for long may be one that is later than the site file says. So where time alone
must do, nothing is asked of it for as long again as its silence had lasted: each wait is twice the last, up
to ``LONGEST_QUIET_S``. Nobody sleeps meanwhile; the unit is left out until the wait is over.

So a wrong value would take an answer that is later than the site file allows *and* out of order, or, where
there is no fence, later than the site file allows *and* than all the silence before it (or than
``LONGEST_QUIET_S``).

Other units need not wait: a late answer carries its own unit number and is thrown away in their turn.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from collector.bus.pdu import Shape

LONGEST_QUIET_S: Final = 60.0
"""A silent drive is left alone for about so long by the poller anyway; an answer later than that is none."""


class LateReplies:
    """The unanswered requests of each unit of one bus, by the shape of their answers."""

    def __init__(self, late_reply_s: float) -> None:
        self._late_reply_s = late_reply_s
        self._shapes: dict[int, set[Shape]] = {}
        self._quiet_until_s: dict[int, float] = {}
        self._silent_since_s: dict[int, float] = {}
        self._given_up_s: dict[int, float] = {}

    def unanswered(self, unit: int, shape: Shape, now_s: float) -> None:
        """Remember that a request was given up now, so that its answer may still come."""
        self._silent_since_s.setdefault(unit, now_s)
        self._given_up_s[unit] = now_s
        self._expect(unit, shape, now_s)

    def unasked(self, unit: int, shape: Shape, now_s: float) -> None:
        """Remember an answer that nobody waited for, unless it is one that was expected to be late."""
        if not self.may_come(unit, shape):
            self._expect(unit, shape, now_s)

    def proven(self, unit: int, now_s: float) -> None:
        """Forget the unit's: an answer of a shape of its own has come, and the time is over too."""
        if not self.quiet_left_s(unit, now_s):
            self._shapes.pop(unit, None)
            self._silent_since_s.pop(unit, None)

    def refused(self, unit: int, shape: Shape) -> None:
        """Remember a fence that was refused: was the refusal an older request's, its answer may yet come."""
        self._shapes.setdefault(unit, set()).add(shape)

    def waited_out(self, unit: int, doubtful: Iterable[Shape], now_s: float) -> None:
        """Forget the unit's by time alone, when that is over and no fence is left; not the doubtful ones.

        It is not over while the wait is shorter than the silence was: then ``quiet_left_s`` is above 0 again.
        How long the unit has been silent is forgotten when it answers, not here.
        """
        self.lengthen(unit)
        if not self.quiet_left_s(unit, now_s):
            self._shapes.pop(unit, None)
        for shape in doubtful:
            self.refused(unit, shape)

    def lengthen(self, unit: int) -> None:
        """Make the wait as long as the silence before it was: no fence is left, time alone must do."""
        given_up_s = self._given_up_s.get(unit)
        if given_up_s is not None:
            silent_s = given_up_s - self._silent_since_s.get(unit, given_up_s)
            self._quiet(unit, given_up_s + min(silent_s, LONGEST_QUIET_S))

    def may_come(self, unit: int, shape: Shape) -> bool:
        """Return whether an answer of this shape could belong to an earlier request."""
        return shape in self._shapes.get(unit, ())

    def quiet_left_s(self, unit: int, now_s: float) -> float:
        """Return how long a late answer is still possible by time alone [s], 0 when none is."""
        return max(0.0, self._quiet_until_s.get(unit, now_s) - now_s)

    def is_for_long(self, unit: int, now_s: float) -> bool:
        """Return whether the wait is a lengthened one, for which no bus may be held up."""
        return self.quiet_left_s(unit, now_s) > self._late_reply_s

    def _expect(self, unit: int, shape: Shape, now_s: float) -> None:
        self._shapes.setdefault(unit, set()).add(shape)
        self._quiet(unit, now_s + self._late_reply_s)

    def _quiet(self, unit: int, until_s: float) -> None:
        self._quiet_until_s[unit] = max(until_s, self._quiet_until_s.get(unit, until_s))
