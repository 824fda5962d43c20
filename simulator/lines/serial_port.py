"""A pseudo-terminal as the far end of a serial line. Not on Windows, which has none."""

from __future__ import annotations

import os
import select
import threading

from simulator.lines.paced_line import PacedLine


class _TerminalWire:
    def __init__(self, ours: int, theirs: int) -> None:
        self._ours = ours
        self._theirs = theirs

    def read(self, timeout_s: float) -> bytes | None:
        ready, _, _ = select.select([self._ours], [], [], timeout_s)
        if ready:
            return os.read(self._ours, 4096)
        self._forget_settings()
        return b""

    def write(self, data: bytes) -> None:
        # Never wait for a reader: characters that nobody takes are lost once the buffer is full.
        try:
            os.write(self._ours, data)
        except BlockingIOError:
            pass

    def _forget_settings(self) -> None:
        """Set a speed that no master asks for, so that each master's opening changes something.

        Linux has no parity on a pseudo-terminal and drops the bit; the C library takes an opening with
        parity that changed nothing else for a failure. So a master could open the port once, and no second
        one after it. The speed itself means nothing here: the pace is the line's.
        """
        import termios

        settings = termios.tcgetattr(self._theirs)
        if settings[4] != termios.B50:
            settings[4] = settings[5] = termios.B50
            termios.tcsetattr(self._theirs, termios.TCSANOW, settings)


class SerialPort:
    """A line behind a pseudo-terminal; ``port`` is the path that a master opens."""

    def __init__(self, line: PacedLine) -> None:
        import pty
        import tty

        self.line = line
        self._ours, self._theirs = pty.openpty()
        # Our hold on the other end keeps the line alive while masters come and go.
        tty.setraw(self._theirs)
        os.set_blocking(self._ours, False)
        self.port = os.ttyname(self._theirs)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"line {self.port}", daemon=True)

    def start(self) -> None:
        """Begin to answer."""
        self._thread.start()

    def _run(self) -> None:
        self.line.serve(_TerminalWire(self._ours, self._theirs), self._stop)

    def stop(self) -> None:
        """Stop and take the port away."""
        self._stop.set()
        self._thread.join()
        os.close(self._ours)
        os.close(self._theirs)
