"""What another master writes: who looks for where a drive's speed comes from finds it here, or elsewhere."""

from __future__ import annotations

from dataclasses import dataclass, field

from collector.listening.frames import HeardFrame
from collector.listening.rhythm import Rhythm


@dataclass(frozen=True, slots=True, kw_only=True)
class WriteSeen:
    """Coils or registers that are written together: zero-based ``address`` and ``count``, how often.

    ``function`` is 5, 6, 15, 16, 22 or 23; ``every_s`` [s] the usual time between two, ``None`` after one.
    ``last`` are the words last written, as they were sent; empty for several coils and for a masked write.
    """

    function: int
    address: int
    count: int
    times: int
    every_s: float | None
    last: tuple[int, ...] = ()


@dataclass(slots=True)
class WritesSeen:
    """The writes to one unit, or to all at once."""

    _rhythms: dict[tuple[int, int, int], Rhythm] = field(default_factory=dict)
    _last: dict[tuple[int, int, int], tuple[int, ...]] = field(default_factory=dict)

    def take(self, request: HeardFrame) -> None:
        """Take a request of a function that writes."""
        written = request.written
        place = written.function, written.address, written.count
        self._rhythms.setdefault(place, Rhythm()).note(request.ends_s)
        self._last[place] = written.values

    @property
    def seen(self) -> tuple[WriteSeen, ...]:
        """What was written, by function and address."""
        return tuple(
            WriteSeen(
                function=place[0],
                address=place[1],
                count=place[2],
                times=rhythm.times,
                every_s=rhythm.every_s,
                last=self._last[place],
            )
            for place, rhythm in sorted(self._rhythms.items())
        )
