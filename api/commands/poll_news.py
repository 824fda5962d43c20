"""What a person at the terminal is told of polling: each pump's first news, then changes alone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collector.reading import PollFailure, Reading
    from collector.site import Site

LOST_AFTER: Final = 2
"""Failures in a row. A single missed answer is common on a long line and no news."""
NAMED_AT_ONCE: Final = 8
"""So many pumps with the same news get a line each; more share one line."""
_LOST: Final = -1


class PollNews:
    """Tells first and changed results of pumps; called from one thread."""

    def __init__(self, site: Site, say: Callable[[str], None]) -> None:
        self._places = {
            pump.name: f"{pump.name} (unit {pump.unit_id} on {pump.bus})" for pump in site.pumps if pump.bus
        }
        self._say = say
        self._failures: dict[str, int] = {}
        """Of each pump heard of, its failures in a row; _LOST once that was told."""

    def read(self, readings: Sequence[Reading]) -> None:
        """Take readings that were kept."""
        first, back = [], []
        for pump in dict.fromkeys(reading.pump for reading in readings):
            before = self._failures.get(pump)
            if before is None:
                first.append(pump)
            elif before == _LOST:
                back.append(pump)
            self._failures[pump] = 0
        self._tell(first, "is read")
        self._tell(back, "is back again")

    def failed(self, failures: Sequence[PollFailure]) -> None:
        """Take failed scans."""
        lost: dict[str, list[str]] = {}
        for failure in failures:
            before = self._failures.get(failure.pump)
            if before == _LOST:
                continue
            count = (before or 0) + 1
            is_news = before is None or count >= LOST_AFTER
            self._failures[failure.pump] = _LOST if is_news else count
            if is_news:
                words = "no reading yet" if before is None else "lost"
                lost.setdefault(f"{words}: {failure.sentence}", []).append(failure.pump)
        for words, pumps in lost.items():
            self._tell(pumps, words)

    def _tell(self, pumps: Sequence[str], words: str) -> None:
        if len(pumps) > NAMED_AT_ONCE:
            shown = ", ".join(pumps[:NAMED_AT_ONCE])
            self._say(f"{len(pumps)} pumps ({shown} ...), each: {words}")
            return
        for pump in pumps:
            self._say(f"{self._places.get(pump, pump)}: {words}")
