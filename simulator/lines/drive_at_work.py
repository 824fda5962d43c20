"""A drive on a shared line: what it takes for a request, and when it answers."""

from __future__ import annotations

from collections import deque
from math import inf
from typing import Final

from simulator.drives import Drive
from simulator.lines.disturbance import Answer
from simulator.lines.outgoing import Outgoing
from simulator.lines.talk import Talk

_PLAIN_REQUESTS: Final = frozenset(range(1, 7))
_PLAIN_REQUEST_BYTES: Final = 8


class DriveAtWork:
    """The answers that one drive has still to give, each with its request."""

    def __init__(self, drive: Drive, name: str) -> None:
        self.drive = drive
        self.name = name
        self._outgoing = Outgoing()
        self._requests: deque[Talk] = deque()

    def put(self, answer: Answer, request: Talk, now_s: float) -> None:
        """Take the answer to a request whose frame ended just now."""
        self._outgoing.put(0, answer, now_s, self.drive.turn_around_s)
        self._requests.append(request)

    def take(self, now_s: float) -> tuple[Answer, Talk] | None:
        """Take out the next answer that is due, with its request."""
        # A billionth more, lest rounding leave what is due at this very moment to the next.
        answer = self._outgoing.take(now_s + 1e-9)
        return (answer, self._requests.popleft()) if answer else None

    def next_s(self, now_s: float) -> float:
        """Return when the next answer is due [s]; infinity if none waits."""
        return now_s + self._outgoing.next_s(now_s, inf)


def may_be_request(frame: bytes) -> bool:
    """Return whether it has a request's length: a twin's answer is no request, though the number is ours."""
    return frame[1] not in _PLAIN_REQUESTS or len(frame) == _PLAIN_REQUEST_BYTES
