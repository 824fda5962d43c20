"""A pseudo-terminal as the far end of a serial line. Not on Windows, which has none."""

from __future__ import annotations

import os
import select
import threading

from simulator.lines.paced_line import PacedLine


class _TerminalWire:
    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    def read(self, timeout_s: float) -> bytes | None:
        ready, _, _ = select.select([self._descriptor], [], [], timeout_s)
        return os.read(self._descriptor, 4096) if ready else b""

    def write(self, data: bytes) -> None:
        # Never wait for a reader: characters that nobody takes are lost once the buffer is full.
        try:
            os.write(self._descriptor, data)
        except BlockingIOError:
            pass


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
        self.line.serve(_TerminalWire(self._ours), self._stop)

    def stop(self) -> None:
        """Stop and take the port away."""
        self._stop.set()
        self._thread.join()
        os.close(self._ours)
        os.close(self._theirs)
