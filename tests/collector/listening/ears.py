"""Bytes at stated times, heard as a port would be."""

from __future__ import annotations

from collector.listening.ear import StreamEar
from collector.listening.exchanges import Event
from collector.listening.port import Lump

Talk = tuple[float, bytes]
"""When bytes were handed over [s], and the bytes."""


def heard(*talks: Talk, begins_s: float = -60.0) -> list[Event]:
    """Return what is heard of them by who has listened since a minute before, and long after."""
    ear = StreamEar()
    events = ear.take(Lump(begins_s, b""))
    for at_s, data in talks:
        events += ear.take(Lump(at_s, data))
    return events + ear.take(Lump(talks[-1][0] + 60.0, b""))
