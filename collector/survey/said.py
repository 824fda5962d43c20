"""What went over the line for each request: a tap on the bus that keeps it for judging."""

from __future__ import annotations

import time
from dataclasses import dataclass, field

Lump = tuple[float, bytes]
"""When bytes were handed over [s, monotonic], and the bytes."""


@dataclass(slots=True)
class Said:
    """A request as it was sent, and all that came from then until the next one was sent."""

    request: bytes
    sent_s: float
    lumps: list[Lump] = field(default_factory=list)

    @property
    def came(self) -> bytes:
        """All that came."""
        return b"".join(data for _, data in self.lumps)

    def time_of_byte_s(self, place: int) -> float:
        """Return when the byte at this place was handed over."""
        for time_s, data in self.lumps:
            place -= len(data)
            if place < 0:
                return time_s
        raise IndexError(place)


class LineRecord:
    """Keeps what is said; a tap of :class:`collector.bus.tap.Tap`'s kind."""

    def __init__(self) -> None:
        self.said: list[Said] = []

    def sent(self, frame: bytes) -> None:
        """Begin a new request."""
        self.said.append(Said(frame, time.monotonic()))

    def came(self, data: bytes) -> None:
        """Keep it with the request before it; what came before the first one is nobody's."""
        if self.said:
            self.said[-1].lumps.append((time.monotonic(), data))
