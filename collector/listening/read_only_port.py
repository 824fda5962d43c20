"""A serial port that can only be read: no byte can leave through it. Not on Windows.

It is opened with O_RDONLY, so the system itself refuses to write. The system raises RTS and DTR at any
opening; both are lowered at once, since an adapter that switches its transmitter by RTS would hold the line
while we listen. With INPCK and PARMRK it hands bad characters over as 255, 0, X and a
good 255 twice (POSIX termios, from memory); the serial library turns INPCK off, so this is done here.
"""

from __future__ import annotations

import errno
import os
import select
import struct
import sys
import time
from contextlib import suppress
from typing import Final

from collector.bus.line_setting import LineSetting
from collector.listening.port import Lump, Marks, PortTrouble, SettingRefused, trouble_of

MOST_AT_ONCE: Final = 4096
ANY_SPEED: Final = 0x1000
"""Linux's BOTHER: the speed is a number of its own, as for 14400, which has no name."""
ASK_ALL: Final = 0x802C542A
SET_ALL: Final = 0x402C542B
TERMIOS2: Final = struct.Struct("@4I20s2I")
"""Linux's TCGETS2 and TCSETS2 and their structure (asm-generic/termbits.h; from memory)."""
SPEED_BITS: Final = 0x100F


class ReadOnlyPort:
    """A port of this machine, opened so that the system refuses to write to it. Not on Windows."""

    def __init__(self, place: str) -> None:
        import termios

        self.place = place
        self.shows_parity = True
        self._marks = Marks()
        self._descriptor = _opened(place)
        try:
            self._found = termios.tcgetattr(self._descriptor)
        except termios.error as error:
            os.close(self._descriptor)
            raise PortTrouble(f"{place}: is no serial port") from error
        _lower_control_lines(self._descriptor)
        self._look = select.poll()
        self._look.register(self._descriptor, select.POLLIN)

    def set(self, setting: LineSetting) -> None:
        """Hear with this setting from now on, and forget what came before; SettingRefused if it cannot."""
        import termios

        self.shows_parity = True
        try:
            if not self._take(setting, with_parity=setting.parity != "N"):
                self.shows_parity = False
                self._take(setting, with_parity=False)
        except (termios.error, OSError, ValueError) as error:
            raise SettingRefused(f"{self.place}: the port does not take {setting.words}") from error
        termios.tcflush(self._descriptor, termios.TCIFLUSH)
        self._marks = Marks()

    def _take(self, setting: LineSetting, *, with_parity: bool) -> bool:
        """Set the port; false when it drops the parity bit, as a pseudo-terminal does."""
        import termios

        wanted = termios.tcgetattr(self._descriptor)
        wanted[0] = termios.INPCK | termios.PARMRK
        wanted[1] = 0
        wanted[2] = (wanted[2] & termios.HUPCL) | _control_bits(setting, with_parity)
        wanted[3] = 0
        named = getattr(termios, f"B{setting.baud}", None)
        wanted[4] = wanted[5] = named or termios.B38400
        wanted[6][termios.VMIN], wanted[6][termios.VTIME] = b"\x01", b"\x00"
        try:
            termios.tcsetattr(self._descriptor, termios.TCSANOW, wanted)
        except termios.error as error:
            # The C library's word for a parity bit that did not stay, when nothing else had changed.
            if error.args[0] == errno.EINVAL and with_parity:
                return False
            raise
        if named is None:
            _set_any_speed(self._descriptor, setting.baud)
        kept = termios.tcgetattr(self._descriptor)[2]
        return not with_parity or bool(kept & termios.PARENB)

    def read(self, wait_s: float) -> Lump:
        """Return what has come, waiting so long [s] for the first byte; no bytes when none came."""
        try:
            if not self._look.poll(max(0.0, wait_s) * 1000):
                return Lump(time.monotonic(), b"")
            raw = os.read(self._descriptor, MOST_AT_ONCE)
        except BlockingIOError:
            raw = b""
        except OSError as error:
            raise PortTrouble(
                f"{self.place}: the port was lost ({error.strerror}); is the adapter plugged in?"
            ) from error
        else:
            if not raw:
                raise PortTrouble(f"{self.place}: the port was lost; is the adapter plugged in?")
        return self._marks.take(raw, time.monotonic())

    def close(self) -> None:
        """Put the settings back that were found, and let the port go."""
        import termios

        try:
            termios.tcsetattr(self._descriptor, termios.TCSANOW, self._found)
        except (termios.error, OSError):
            pass  # The adapter is gone, or its settings cannot be put back in one go: nobody else has it.
        os.close(self._descriptor)


def _opened(place: str) -> int:
    import fcntl

    try:
        descriptor = os.open(place, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
    except OSError as error:
        raise trouble_of(place, error) from error
    try:
        # The lock that the serial library takes for a port of its own.
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(descriptor)
        raise trouble_of(place, error) from error
    return descriptor


def _lower_control_lines(descriptor: int) -> None:
    """Take back RTS and DTR; a pseudo-terminal and some adapters have none."""
    import fcntl
    import termios

    for line in (termios.TIOCM_RTS, termios.TIOCM_DTR):
        with suppress(OSError):
            fcntl.ioctl(descriptor, termios.TIOCMBIC, struct.pack("I", line))


def _control_bits(setting: LineSetting, with_parity: bool) -> int:
    import termios

    bits = termios.CS8 | termios.CREAD | termios.CLOCAL
    if setting.stop_bits == 2:
        bits |= termios.CSTOPB
    if with_parity:
        bits |= termios.PARENB | (termios.PARODD if setting.parity == "O" else 0)
    return bits


def _set_any_speed(descriptor: int, baud: int) -> None:
    import fcntl

    if sys.platform != "linux":
        raise ValueError(f"{baud} has no name here")
    inputs, outputs, control, local, rest, _, _ = TERMIOS2.unpack(
        fcntl.ioctl(descriptor, ASK_ALL, bytes(TERMIOS2.size))
    )
    control = control & ~SPEED_BITS | ANY_SPEED
    fcntl.ioctl(descriptor, SET_ALL, TERMIOS2.pack(inputs, outputs, control, local, rest, baud, baud))
