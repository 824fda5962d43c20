"""What was truly said on a line, for tests to hold against what somebody thinks was said."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from simulator.lines.talk import Talk


@dataclass(slots=True, kw_only=True)
class Exchange:
    """A request and what was answered to it: nothing, one answer, or those of two units of one number."""

    request: Talk
    answers: list[Talk] = field(default_factory=list)

    @property
    def is_undamaged(self) -> bool:
        """Return whether there was one answer, and both went over the line whole and by themselves."""
        said = [self.request, *self.answers]
        return len(said) == 2 and all(talk.is_whole and not talk.is_run_together for talk in said)


class Ledger:
    """The exchanges of a line in the order of their requests: all of them, or the newest ``keeps``."""

    def __init__(self, keeps: int | None = None) -> None:
        self.exchanges: deque[Exchange] = deque()
        self._keeps = keeps
        self._by_request: dict[int, Exchange] = {}

    def note(self, talk: Talk) -> None:
        """Take in a talk that is over."""
        if talk.answers is not None:
            asked = self._by_request.get(id(talk.answers))
            if asked is not None:
                asked.answers.append(talk)
            return
        exchange = Exchange(request=talk)
        self.exchanges.append(exchange)
        self._by_request[id(talk)] = exchange
        if self._keeps is not None and len(self.exchanges) > self._keeps:
            del self._by_request[id(self.exchanges.popleft().request)]
