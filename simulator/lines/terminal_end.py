"""A pseudo-terminal as a port on a shared line. Not on Windows, which has none.

Linux keeps the speed and the stop bits that a program sets on it, and drops the parity: here the port's
parity is always the line's own (or ``parity``). Nor can a character be marked as bad on it. For both see
``stand_in``.
"""

from __future__ import annotations

import errno
import fcntl
import os
import select
import struct
import termios
from collections.abc import Sequence
from typing import Final

from simulator.lines.adapter import handed_over
from simulator.lines.uart import Character, LineSetting, Parity

_INPUT, _CONTROL, _SPEED = 0, 2, 5
_ASK_ANY_SPEED: Final = 0x802C542A
_SPEED_PLACE: Final = struct.Struct("@4I20x2I")
"""Linux's TCGETS2 and its termios2 (asm-generic): the only way to see a speed without a name, as 14400."""
_NOT_CHOSEN: Final = termios.B50
"""A speed that no master asks for, so that each setting changes something.

The C library takes a setting with parity that changed nothing else for a failure, since it finds the parity
bit dropped. So the speed is noted and taken away again at once; it means nothing to the terminal.
"""


class TerminalEnd:
    """``port`` is the path that a program opens."""

    def __init__(self, parity: Parity | None = None) -> None:
        import pty
        import tty

        self._parity = parity
        self._ours, theirs = pty.openpty()
        tty.setraw(theirs)
        self.port = os.ttyname(theirs)
        os.close(theirs)
        self._forget_speed()
        os.set_blocking(self._ours, False)
        self._look = select.poll()
        self._look.register(self._ours, select.POLLHUP)
        self._chosen: tuple[int, bool] | None = None
        self._was_open = False

    def fileno(self) -> int:
        """Return our end of the terminal."""
        return self._ours

    def is_open(self) -> bool:
        """Return whether a program has it open; forget what it chose and what it left unread if not."""
        is_open = not self._look.poll(0)
        if self._was_open and not is_open:
            self._chosen = None
            self._drop_unread()
        self._was_open = is_open
        return is_open

    def chosen(self, line: LineSetting) -> LineSetting:
        """Return the speed and stop bits that the program set, or the line's before it has set any."""
        self._note_choice()
        if self._chosen is None:
            return line
        baud, has_two_stop_bits = self._chosen
        parity = line.parity if self._parity is None else self._parity
        return LineSetting(baud, parity, 2 if has_two_stop_bits else 1)

    def written(self) -> bytes:
        """Return what the program has written."""
        try:
            return os.read(self._ours, 4096)
        except BlockingIOError:
            return b""
        except OSError as error:
            # Nobody has the other end open.
            if error.errno == errno.EIO:
                return b""
            raise

    def deliver(self, characters: Sequence[Character]) -> None:
        """Hand characters over; what a full buffer does not take is lost, as from a real adapter."""
        flags = termios.tcgetattr(self._ours)[_INPUT]
        # A program that asks for marks wants to see the character, and the terminal can't mark it.
        checks = bool(flags & termios.INPCK) and not flags & termios.PARMRK
        try:
            os.write(self._ours, handed_over(characters, checks=checks))
        except BlockingIOError:
            pass

    def close(self) -> None:
        """Take the port away."""
        os.close(self._ours)

    def _note_choice(self) -> None:
        settings = termios.tcgetattr(self._ours)
        if settings[_SPEED] == _NOT_CHOSEN:
            return
        self._chosen = (_baud(self._ours), bool(settings[_CONTROL] & termios.CSTOPB))
        self._forget_speed()

    def _forget_speed(self) -> None:
        settings = termios.tcgetattr(self._ours)
        settings[_SPEED - 1] = settings[_SPEED] = _NOT_CHOSEN
        termios.tcsetattr(self._ours, termios.TCSANOW, settings)

    def _drop_unread(self) -> None:
        theirs = os.open(self.port, os.O_RDWR | os.O_NOCTTY)
        termios.tcflush(theirs, termios.TCIFLUSH)
        os.close(theirs)


def _baud(terminal: int) -> int:
    answer = fcntl.ioctl(terminal, _ASK_ANY_SPEED, bytes(_SPEED_PLACE.size))
    return int(_SPEED_PLACE.unpack(answer)[-1])
