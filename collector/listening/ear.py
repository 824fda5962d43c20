"""From a port to exchanges, as they come."""

from __future__ import annotations

from typing import Final

from collector.bus.line_setting import LineSetting
from collector.listening.decoder import StreamDecoder
from collector.listening.exchanges import Event, Pairing
from collector.listening.port import ListeningPort

SILENCE_S: Final = 0.25
"""No frame goes on after it: adapters hold bytes back for 16 ms (common practice), busy machines longer."""


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
        self._decoder = StreamDecoder()
        self._pairing = Pairing()
        self._last_byte_s = float("-inf")

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
        if lump.data:
            self._last_byte_s = lump.time_s
            self.bytes_heard += len(lump.data)
            self.bad_characters += len(lump.bad)
            return self._pairing.take(self._decoder.feed(lump.data, lump.time_s))
        if self.now_s - self._last_byte_s < SILENCE_S:
            return []
        events = self._pairing.take(self._decoder.silence())
        return events + self._pairing.silence(self._last_byte_s, self.now_s)

    @property
    def silent_s(self) -> float:
        """How long nothing has come [s]; since the beginning when nothing ever came."""
        since_s = max(self._last_byte_s, self.begun_s if self.begun_s is not None else self.now_s)
        return self.now_s - since_s
