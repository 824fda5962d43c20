"""From a port to exchanges, as they come."""

from __future__ import annotations

from typing import Final

from collector.bus.line_setting import LineSetting
from collector.listening.decoder import StreamDecoder
from collector.listening.exchanges import Event, Pairing, Unheard
from collector.listening.port import ListeningPort, Lump

SILENCE_S: Final = 0.25
"""No frame goes on after it: adapters hold bytes back for 16 ms (common practice), busy machines longer."""
MOST_AT_ONCE: Final = 2048
"""Systems keep some 4,096 bytes for who does not read, and marks may double them (Linux, from memory): when
so many come at once [bytes], nobody read for long, and others may have been lost."""


class StreamEar:
    """Takes bytes with the time at which they were handed over, gives what was said."""

    def __init__(self) -> None:
        self._decoder = StreamDecoder()
        self._pairing = Pairing()
        self._begins = True
        self.last_byte_s = float("-inf")

    def take(self, lump: Lump) -> list[Event]:
        """Take what one read of the port gave; no bytes when it waited in vain."""
        events: list[Event] = []
        if self._begins:
            self._begins = False
            events.append(Unheard(lump.time_s))
        if lump.data:
            self.last_byte_s = lump.time_s
            events += self._pairing.take(self._decoder.feed(lump.data, lump.time_s))
        elif lump.time_s - self.last_byte_s >= SILENCE_S:
            events += self._pairing.take(self._decoder.silence())
            events += self._pairing.silence(self.last_byte_s, lump.time_s)
        if len(lump.data) >= MOST_AT_ONCE:
            # What did not fit came after what did.
            events += [*self._pairing.take(self._decoder.silence()), Unheard(lump.time_s)]
        return events


class LineEar:
    """Hears a line with one setting. ``now_s`` [s] is the port's clock at the last call of :meth:`hear`."""

    def __init__(self, port: ListeningPort, setting: LineSetting) -> None:
        port.set(setting)
        self.setting = setting
        self.bytes_heard = 0
        self.bad_characters = 0
        """Characters that the port marked: of the wrong parity or without a stop bit."""
        self.begun_s: float | None = None
        self.now_s = float("-inf")
        self._port = port
        self._stream = StreamEar()

    def hear(self, wait_s: float) -> list[Event]:
        """Wait so long [s] at most for the next bytes and return what can be told by now.

        Raises
        ------
        PortTrouble
            When the port is lost.
        """
        lump = self._port.read(wait_s)
        self.now_s = lump.time_s
        if self.begun_s is None:
            self.begun_s = lump.time_s
        self.bytes_heard += len(lump.data)
        self.bad_characters += len(lump.bad)
        return self._stream.take(lump)

    @property
    def silent_s(self) -> float:
        """How long nothing has come [s]; since the beginning when nothing ever came."""
        since_s = max(self._stream.last_byte_s, self.begun_s if self.begun_s is not None else self.now_s)
        return self.now_s - since_s
