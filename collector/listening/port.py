"""What is needed of a serial port to listen at it, and the marks that bad characters bear."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import Final, Protocol

from collector.bus.line_setting import LineSetting
from collector.bus.links import why_not

MARK: Final = 0xFF


class PortTrouble(Exception):
    """The port cannot be opened, or was lost; one sentence."""


class SettingRefused(Exception):
    """The port does not take a line setting."""


@dataclass(frozen=True, slots=True)
class Lump:
    """Bytes handed over at one time [s]; ``bad`` are the places in them of characters marked as wrong."""

    time_s: float
    data: bytes
    bad: tuple[int, ...] = ()


class ListeningPort(Protocol):
    """What is needed to listen. ``read`` raises PortTrouble when the port is lost."""

    place: str
    shows_parity: bool
    """Whether a character of the wrong parity or stop bit is told from a good one."""

    def set(self, setting: LineSetting) -> None:
        """Hear with this setting from now on, and forget what came before; SettingRefused if it cannot."""

    def read(self, wait_s: float) -> Lump:
        """Return what has come, waiting so long [s] for the first byte; no bytes when none came."""

    def close(self) -> None:
        """Let the port go."""


def open_listening_port(place: str) -> ListeningPort:
    """Open a port for listening; PortTrouble in one sentence when it cannot be."""
    if sys.platform == "win32":
        from collector.listening.library_port import SerialLibraryPort

        return SerialLibraryPort(place)
    from collector.listening.read_only_port import ReadOnlyPort

    return ReadOnlyPort(place)


class Marks:
    """Takes 255, 0, X and 255, 255 apart, however they are cut."""

    def __init__(self) -> None:
        self._held = b""

    def take(self, raw: bytes, time_s: float) -> Lump:
        r"""Return the characters of these bytes and which of them are bad.

        >>> Marks().take(bytes.fromhex("41 ff ff ff 00 42"), 1.0)
        Lump(time_s=1.0, data=b'A\xffB', bad=(2,))
        """
        raw = self._held + raw
        data = bytearray()
        bad = []
        place = 0
        while place < len(raw):
            size = self._size(raw, place)
            if place + size > len(raw):
                break
            if size == 3:
                bad.append(len(data))
            data.append(raw[place + size - 1])
            place += size
        self._held = raw[place:]
        return Lump(time_s, bytes(data), tuple(bad))

    @staticmethod
    def _size(raw: bytes, place: int) -> int:
        if raw[place] != MARK:
            return 1
        return 3 if raw[place + 1 : place + 2] == b"\0" else 2


def trouble_of(place: str, error: Exception) -> PortTrouble:
    """Return what keeps the port from being opened, in one sentence."""
    return PortTrouble(f"{place}: {why_not(place, error)}")
