"""How far a command has come: one line of a terminal that is drawn over, and wiped at the end."""

from __future__ import annotations

import shutil
import sys
import threading
import time
from collections.abc import Callable
from types import TracebackType
from typing import Final, TextIO

from api.commands.saying import say

REDRAW_S: Final = 0.1
"""Faster than this nobody reads, and a terminal over a slow connection falls behind [s]."""


class ProgressLine:
    """One line on standard error, redrawn; call it with what to show, from any thread.

    Where standard error is no terminal nothing is drawn; ``line_every_s`` [s] asks for a line of its own
    there, at most so often, from the first such span on: a log then shows that a long wait is alive.
    Leaving the block wipes the line.
    """

    def __init__(
        self,
        line_every_s: float | None = None,
        out: TextIO | None = None,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._out = out or sys.stderr
        self._clock_s = clock_s
        self._drawn = 0
        self._lock = threading.Lock()
        self._every_s = REDRAW_S if self._out.isatty() else line_every_s
        self._due_s = clock_s() + (0.0 if self._out.isatty() else line_every_s or 0.0)

    def __enter__(self) -> ProgressLine:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.wipe()

    def __call__(self, words: str) -> None:
        """Show these words in place of those before, unless that was done a moment ago."""
        with self._lock:
            now_s = self._clock_s()
            if self._every_s is None or now_s < self._due_s:
                return
            self._due_s = now_s + self._every_s
            if self._out.isatty():
                self._draw(words)
            else:
                self._say(words)

    def say(self, words: str) -> None:
        """Print a line that stays, above the one that is drawn."""
        with self._lock:
            self._wipe()
            self._say(words)

    def wipe(self) -> None:
        """Leave no trace of what is drawn."""
        with self._lock:
            self._wipe()

    def _say(self, words: str) -> None:
        if self._out is sys.stderr:
            say(words)
        else:
            print(f"owncurve: {words}", file=self._out, flush=True)

    def _draw(self, words: str) -> None:
        # A line as wide as the terminal would wrap, and the next would no longer be drawn over it.
        shown = words[: shutil.get_terminal_size().columns - 1]
        print(f"\r{shown:<{self._drawn}}", end="", file=self._out, flush=True)
        self._drawn = len(shown)

    def _wipe(self) -> None:
        if self._drawn:
            print("\r" + " " * self._drawn + "\r", end="", file=self._out, flush=True)
            self._drawn = 0
