"""A shared line in real time, with a port at its end that a program can open."""

from __future__ import annotations

import select
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Final, Protocol

from simulator.lines.shared_line import SharedLine
from simulator.lines.uart import Character, LineSetting

_LOOK_S: Final = 0.02
"""How long anything waits before it looks whether it is to end, or has been set up anew."""
_SOONEST_LUMP_S: Final = 0.002
"""Characters reach a program at least this far apart, for the sake of the machine."""


class PortEnd(Protocol):
    """A port as a program sees it, from the line's side."""

    def fileno(self) -> int:
        """Return what becomes readable when the program has written."""

    def is_open(self) -> bool:
        """Return whether a program has the port open."""

    def chosen(self, line: LineSetting) -> LineSetting:
        """Return the setting that the program chose; as the line's where that can't be known."""

    def written(self) -> bytes:
        """Return what the program has written since the last call."""

    def deliver(self, characters: Sequence[Character]) -> None:
        """Hand characters to the program."""

    def close(self) -> None:
        """Take the port away."""


class LiveLine:
    """Runs a line in a thread of its own from :meth:`start` to :meth:`stop`.

    The line's clock goes on from where it stood: it is the monotonic one less ``begun_s``. An adapter hands
    characters over every ``lump_s`` seconds. Nothing comes before the line could have carried it; on a busy
    machine it may come later.
    """

    def __init__(self, line: SharedLine, end: PortEnd, lump_s: float = 0.0) -> None:
        self.line = line
        self._end = end
        self._lump_s = max(lump_s, _SOONEST_LUMP_S)
        self._waiting: list[Character] = []
        self._hands_over_s = line.now_s
        self.begun_s = 0.0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="shared line", daemon=True)
        self.lock = threading.Lock()
        """Held while the line moves: take it to look at the line's exchanges from another thread."""

    def start(self) -> None:
        """Begin."""
        self.begun_s = time.monotonic() - self.line.now_s
        self._thread.start()

    def stop(self) -> None:
        """End within a moment."""
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._stop.is_set():
            with self.lock:
                self._move(self._now_s())
                wait_s = min(max(self._next_s() - self._now_s(), 0.0), _LOOK_S)
            self._wait(wait_s)

    def _now_s(self) -> float:
        return time.monotonic() - self.begun_s

    def _move(self, now_s: float) -> None:
        self.line.advance(now_s)
        # In this order, since programs set a port up and then write.
        data = self._end.written()
        setting = self._end.chosen(self.line.setting)
        if setting != self.line.port_setting:
            self.line.set_port(setting)
        if data:
            self.line.say(data)
        self._waiting += self.line.heard()
        if self._waiting and now_s >= self._hands_over_s:
            self._hand_over(now_s)

    def _hand_over(self, now_s: float) -> None:
        if self._end.is_open():
            self._end.deliver(self._waiting)
        self._waiting = []
        self._hands_over_s = now_s + self._lump_s

    def _next_s(self) -> float:
        return min(self.line.next_s, max(self._hands_over_s, self.line.next_at_port_s))

    def _wait(self, wait_s: float) -> None:
        # A terminal that nobody has open is always readable.
        if self._end.is_open():
            select.select([self._end.fileno()], [], [], wait_s)
        else:
            time.sleep(wait_s)


@contextmanager
def running(line: SharedLine, end: PortEnd, lump_s: float = 0.0) -> Iterator[LiveLine]:
    """Run a line behind a port for as long as the block lasts, and close the port after it."""
    live = LiveLine(line, end, lump_s)
    live.start()
    try:
        yield live
    finally:
        live.stop()
        end.close()
